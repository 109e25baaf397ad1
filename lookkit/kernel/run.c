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
};

/* Room for what may wait when another tile of pixels comes. */
enum { ROOM = 2 * TILE };

static void in_double(struct waiting *w, void *out, int wide_out, int calls,
    const double_kernel *exact, const double *const *exact_p, const int *slot, const int *other,
    int slots)
{
    double *r = w->planes, *g = r + ROOM, *b = r + 2 * ROOM;
    const long full = whole(w->count);
    for (int k = 0; k < 3 * slots; k++)
        for (long i = w->count; i < full; i++) r[(long)ROOM * k + i] = 0.0;
    for (int c = 0; c < calls; c++) {
        double *s = r + 3L * ROOM * slot[c], *e = r + 3L * ROOM * other[c];
        exact[c](s, s + ROOM, s + 2 * ROOM, e, e + ROOM, e + 2 * ROOM, NULL, full, exact_p[c]);
    }
    for (long i = 0; i < w->count; i++) {
        long at = 3 * w->where[i];
        if (wide_out) {
            double *y = (double *)out + at;
            y[0] = r[i]; y[1] = g[i]; y[2] = b[i];
        } else {
            float *y = (float *)out + at;
            y[0] = (float)r[i]; y[1] = (float)g[i]; y[2] = (float)b[i];
        }
    }
    w->count = 0;
}

/* Pixels come in and go out as three numbers each, float or double (`wide_in`, `wide_out`); `out`
   may be `in` where both are alike. With `exactly`, all are worked out in double. Slot k of a
   program has its planes at 3 k TILE. Returns how many pixels were worked out in double, or -1
   where there was no memory. `entering`, where it is not NULL, is as `in` and lies in slot 1. */
EXPORT long lookkit_run(const void *in, const void *entering, void *out, long n, int wide_in, int wide_out, int exactly,
    int slots,
    int calls, const float_kernel *fast, const double_kernel *exact, const float *const *fast_p,
    const double *const *exact_p, const int *slot, const int *other)
{
    float *f = malloc(sizeof(float) * 3 * TILE * (size_t)slots);
    int *doubt = malloc(sizeof(int) * TILE);
    struct waiting w = {malloc(sizeof(double) * 3 * ROOM * (size_t)slots),
        malloc(sizeof(long) * ROOM), 0};
    long redone = 0;
    if (!f || !w.planes || !doubt || !w.where) {
        free(f); free(w.planes); free(doubt); free(w.where);
        return -1;
    }
    for (long start = 0; start < n; start += TILE) {
        long count = n - start < TILE ? n - start : TILE;
        float *R = f, *G = f + TILE, *B = f + 2 * TILE;
        const double *wide = (const double *)in + 3 * start;
        const float *narrow = (const float *)in + 3 * start;
        for (long i = 0; i < count; i++) doubt[i] = exactly;
        if (!exactly && wide_in) {
            for (long i = 0; i < count; i++) {
                R[i] = (float)cleaned(wide[3 * i]); G[i] = (float)cleaned(wide[3 * i + 1]);
                B[i] = (float)cleaned(wide[3 * i + 2]);
            }
        } else if (!exactly) {
            for (long i = 0; i < count; i++) {
                R[i] = cleaned_f(narrow[3 * i]); G[i] = cleaned_f(narrow[3 * i + 1]);
                B[i] = cleaned_f(narrow[3 * i + 2]);
            }
        }
        const long full = whole(count);
        for (long i = count; i < full; i++) {
            R[i] = G[i] = B[i] = 0.0f;
            doubt[i] = 0;
        }
        const double *wide_e = (const double *)entering + (entering ? 3 * start : 0);
        const float *narrow_e = (const float *)entering + (entering ? 3 * start : 0);
        for (int k = 0; entering && !exactly && k < 3; k++) {
            float *E = f + (3L + k) * TILE;
            for (long i = 0; i < count; i++)
                E[i] = wide_in ? (float)cleaned(wide_e[3 * i + k]) : cleaned_f(narrow_e[3 * i + k]);
            for (long i = count; i < full; i++) E[i] = 0.0f;
        }
        for (int c = 0; c < calls && !exactly; c++) {
            float *s = f + 3L * TILE * slot[c], *e = f + 3L * TILE * other[c];
            fast[c](s, s + TILE, s + 2 * TILE, e, e + TILE, e + 2 * TILE, doubt, full, fast_p[c]);
        }
        for (long i = 0; i < count; i++) {
            if (!doubt[i]) continue;
            w.where[w.count] = start + i;
            for (int k = 0; k < 3; k++)
                w.planes[ROOM * k + w.count] =
                    wide_in ? cleaned(wide[3 * i + k]) : cleaned_f(narrow[3 * i + k]);
            for (int k = 0; entering && k < 3; k++)
                w.planes[ROOM * (3 + k) + w.count] =
                    wide_in ? cleaned(wide_e[3 * i + k]) : cleaned_f(narrow_e[3 * i + k]);
            w.count++;
            redone++;
        }
        if (!exactly && wide_out) {
            double *y = (double *)out + 3 * start;
            for (long i = 0; i < count; i++) {
                y[3 * i] = R[i]; y[3 * i + 1] = G[i]; y[3 * i + 2] = B[i];
            }
        } else if (!exactly) {
            float *y = (float *)out + 3 * start;
            for (long i = 0; i < count; i++) {
                y[3 * i] = R[i]; y[3 * i + 1] = G[i]; y[3 * i + 2] = B[i];
            }
        }
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
