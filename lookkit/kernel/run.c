/* Runs a program of kernels over pixels, tile by tile: in float, and again in double where a
   formula said that float is not exact enough. */
#include <stdlib.h>

typedef void (*float_kernel)(float *, float *, float *, const float *, const float *,
    const float *, int *, long, const float *);
typedef void (*double_kernel)(double *, double *, double *, const double *, const double *,
    const double *, int *, long, const double *);

enum { TILE = 1024 };

/* A number that is none counts as 0, an infinite one as 1e6 with its sign; others are held within 1e30. */
INLINE double cleaned(double x) {
    x = x == x ? x : 0.0;
    x = x > 1.7e308 ? 1e6 : x < -1.7e308 ? -1e6 : x;
    return minimum_d(maximum_d(x, -1e30), 1e30);
}
INLINE float cleaned_f(float x) {
    x = x == x ? x : 0.0f;
    x = x > 3.4e38f ? 1e6f : x < -3.4e38f ? -1e6f : x;
    return minimum_f(maximum_f(x, -1e30f), 1e30f);
}

/* Kernels run over whole vectors: a pixel is worked out by the same instructions wherever it
   stands, so that its bits do not depend on its neighbours. */
static long whole(long count) { return (count + 31) / 32 * 32; }

/* What waits to be worked out in double: input planes in slot 0, and where each pixel goes. */
struct waiting {
    double *planes;
    long *where;
    long count;
    long plane; /* of what goes out */
};

/* Room for what may wait when another tile of pixels comes. */
enum { ROOM = 2 * TILE };

/* Where the number k of pixel i lies: pixels of three numbers, or planes, `plane` numbers apart. */
INLINE long place_of(int k, long i, long plane) { return plane ? plane * k + i : 3 * i + k; }

static void in_double(struct waiting *w, void *out, int wide_out, int calls,
    const double_kernel *exact, const double *const *exact_p, const int *slot, const int *other,
    int slots)
{
    double *r = w->planes;
    const long full = whole(w->count);
    for (int k = 0; k < 3 * slots; k++)
        for (long i = w->count; i < full; i++) r[(long)ROOM * k + i] = 0.0;
    for (int c = 0; c < calls; c++) {
        double *s = r + 3L * ROOM * slot[c], *e = r + 3L * ROOM * other[c];
        exact[c](s, s + ROOM, s + 2 * ROOM, e, e + ROOM, e + 2 * ROOM, NULL, full, exact_p[c]);
    }
    for (long i = 0; i < w->count; i++)
        for (int k = 0; k < 3; k++) {
            const long at = place_of(k, w->where[i], w->plane);
            const double y = r[(long)ROOM * k + i];
            if (wide_out) ((double *)out)[at] = y;
            else ((float *)out)[at] = (float)y;
        }
    w->count = 0;
}

/* Numbers of pixels `start` ... into planes of floats, cleaned. */
static void taken(float *to, const void *in, int wide, long plane, long start, long count)
{
    const long full = whole(count);
    for (int k = 0; k < 3; k++) {
        float *restrict o = to + (long)TILE * k;
        const long at = place_of(k, start, plane), step = plane ? 1 : 3;
        const double *d = (const double *)in + at;
        const float *f = (const float *)in + at;
        if (wide)
            for (long i = 0; i < count; i++) o[i] = (float)cleaned(d[step * i]);
        else if (plane)
            for (long i = 0; i < count; i++) o[i] = cleaned_f(f[i]);
        else
            for (long i = 0; i < count; i++) o[i] = cleaned_f(f[3 * i]);
        for (long i = count; i < full; i++) o[i] = 0.0f;
    }
}

/* Planes of floats to where pixels `start` ... go. */
static void given(void *out, const float *from, int wide, long plane, long start, long count)
{
    for (int k = 0; k < 3; k++) {
        const float *restrict y = from + (long)TILE * k;
        const long at = place_of(k, start, plane), step = plane ? 1 : 3;
        double *d = (double *)out + at;
        float *f = (float *)out + at;
        if (wide)
            for (long i = 0; i < count; i++) d[step * i] = y[i];
        else if (plane)
            memcpy(f, y, sizeof(float) * (size_t)count);
        else
            for (long i = 0; i < count; i++) f[3 * i] = y[i];
    }
}

static double one_of(const void *in, int wide, long at)
{
    return wide ? cleaned(((const double *)in)[at]) : cleaned_f(((const float *)in)[at]);
}

/* Pixels come in and go out as three numbers each, float or double (`wide_in`, `wide_out`); or as
   planes, where `plane_in`, `plane_entering` and `plane_out` say how many numbers apart they lie and
   are not 0. `out` may be `in` where both are alike. With `exactly`, all are worked out in double.
   Slot k of a program has its planes at 3 k TILE. Returns how many pixels were worked out in
   double, or -1 where there was no memory. `entering`, where it is not NULL, is as `in` and lies
   in slot 1. */
EXPORT long lookkit_run(const void *in, const void *entering, void *out, long n, int wide_in,
    int wide_out, int exactly, int slots, int calls, const float_kernel *fast,
    const double_kernel *exact, const float *const *fast_p, const double *const *exact_p,
    const int *slot, const int *other, long plane_in, long plane_entering, long plane_out)
{
    float *f = malloc(sizeof(float) * 3 * TILE * (size_t)slots);
    int *doubt = malloc(sizeof(int) * TILE);
    struct waiting w = {malloc(sizeof(double) * 3 * ROOM * (size_t)slots),
        malloc(sizeof(long) * ROOM), 0, plane_out};
    long redone = 0;
    if (!f || !w.planes || !doubt || !w.where) {
        free(f); free(w.planes); free(doubt); free(w.where);
        return -1;
    }
    for (long start = 0; start < n; start += TILE) {
        const long count = n - start < TILE ? n - start : TILE, full = whole(count);
        for (long i = 0; i < full; i++) doubt[i] = exactly && i < count;
        if (!exactly) {
            taken(f, in, wide_in, plane_in, start, count);
            if (entering) taken(f + 3 * TILE, entering, wide_in, plane_entering, start, count);
            for (int c = 0; c < calls; c++) {
                float *s = f + 3L * TILE * slot[c], *e = f + 3L * TILE * other[c];
                fast[c](s, s + TILE, s + 2 * TILE, e, e + TILE, e + 2 * TILE, doubt, full,
                    fast_p[c]);
            }
        }
        for (long i = 0; i < count; i++) {
            if (!doubt[i]) continue;
            w.where[w.count] = start + i;
            for (int k = 0; k < 3; k++)
                w.planes[ROOM * k + w.count] =
                    one_of(in, wide_in, place_of(k, start + i, plane_in));
            for (int k = 0; entering && k < 3; k++)
                w.planes[ROOM * (3 + k) + w.count] =
                    one_of(entering, wide_in, place_of(k, start + i, plane_entering));
            w.count++;
            redone++;
        }
        if (!exactly) given(out, f, wide_out, plane_out, start, count);
        if (w.count > ROOM - TILE)
            in_double(&w, out, wide_out, calls, exact, exact_p, slot, other, slots);
    }
    if (w.count) in_double(&w, out, wide_out, calls, exact, exact_p, slot, other, slots);
    free(f); free(w.planes); free(doubt); free(w.where);
    return redone;
}

/* What the processor has: 4 for AVX-512, 3 for AVX2, 2 for what every one here has. */
EXPORT int lookkit_level(void)
{
#if defined(__x86_64__) || defined(_M_X64)
    __builtin_cpu_init();
    if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512dq")
        && __builtin_cpu_supports("avx512vl") && __builtin_cpu_supports("avx512bw"))
        return 4;
    if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma")
        && __builtin_cpu_supports("bmi2"))
        return 3;
#endif
    return 2;
}
