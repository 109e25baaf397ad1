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

/* Pixels come in and go out as three numbers each, float or double (`wide_in`, `wide_out`).
   With `exactly`, all
   are worked out in double. Slot k of a program has its planes at 3 k TILE. Returns how many pixels were worked out in
   double, or -1 where there was no memory. */
EXPORT long lookkit_run(const void *in, void *out, long n, int wide_in, int wide_out, int exactly,
    int slots,
    int calls, const float_kernel *fast, const double_kernel *exact, const float *const *fast_p,
    const double *const *exact_p, const int *slot, const int *other)
{
    float *f = malloc(sizeof(float) * 3 * TILE * (size_t)slots);
    double *d = malloc(sizeof(double) * 3 * TILE * (size_t)slots);
    int *doubt = malloc(sizeof(int) * TILE);
    long *where = malloc(sizeof(long) * TILE);
    long redone = 0;
    if (!f || !d || !doubt || !where) {
        free(f); free(d); free(doubt); free(where);
        return -1;
    }
    for (long start = 0; start < n; start += TILE) {
        long count = n - start < TILE ? n - start : TILE;
        float *R = f, *G = f + TILE, *B = f + 2 * TILE;
        if (wide_in) {
            const double *x = (const double *)in + 3 * start;
            for (long i = 0; i < count; i++) {
                double r = cleaned(x[3 * i]), g = cleaned(x[3 * i + 1]), b = cleaned(x[3 * i + 2]);
                R[i] = (float)r; G[i] = (float)g; B[i] = (float)b;
                doubt[i] = exactly;
            }
        } else {
            const float *x = (const float *)in + 3 * start;
            for (long i = 0; i < count; i++) {
                R[i] = cleaned_f(x[3 * i]); G[i] = cleaned_f(x[3 * i + 1]);
                B[i] = cleaned_f(x[3 * i + 2]);
                doubt[i] = exactly;
            }
        }
        for (int c = 0; c < calls && !exactly; c++) {
            float *s = f + 3L * TILE * slot[c], *e = f + 3L * TILE * other[c];
            fast[c](s, s + TILE, s + 2 * TILE, e, e + TILE, e + 2 * TILE, doubt, count, fast_p[c]);
        }
        if (wide_out) {
            double *y = (double *)out + 3 * start;
            for (long i = 0; i < count; i++) {
                y[3 * i] = R[i]; y[3 * i + 1] = G[i]; y[3 * i + 2] = B[i];
            }
        } else {
            float *y = (float *)out + 3 * start;
            for (long i = 0; i < count; i++) {
                y[3 * i] = R[i]; y[3 * i + 1] = G[i]; y[3 * i + 2] = B[i];
            }
        }
        long again = 0;
        for (long i = 0; i < count; i++)
            if (doubt[i]) where[again++] = start + i;
        if (!again) continue;
        redone += again;
        double *r = d, *g = d + TILE, *b = d + 2 * TILE;
        for (long i = 0; i < again; i++) {
            long at = 3 * where[i];
            if (wide_in) {
                const double *x = (const double *)in + at;
                r[i] = cleaned(x[0]); g[i] = cleaned(x[1]); b[i] = cleaned(x[2]);
            } else {
                const float *x = (const float *)in + at;
                r[i] = cleaned_f(x[0]); g[i] = cleaned_f(x[1]); b[i] = cleaned_f(x[2]);
            }
        }
        for (int c = 0; c < calls; c++) {
            double *s = d + 3L * TILE * slot[c], *e = d + 3L * TILE * other[c];
            exact[c](s, s + TILE, s + 2 * TILE, e, e + TILE, e + 2 * TILE, doubt, again,
                exact_p[c]);
        }
        for (long i = 0; i < again; i++) {
            long at = 3 * where[i];
            if (wide_out) {
                double *y = (double *)out + at;
                y[0] = r[i]; y[1] = g[i]; y[2] = b[i];
            } else {
                float *y = (float *)out + at;
                y[0] = (float)r[i]; y[1] = (float)g[i]; y[2] = (float)b[i];
            }
        }
    }
    free(f); free(d); free(doubt); free(where);
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
