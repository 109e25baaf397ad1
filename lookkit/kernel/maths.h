/* The functions of maths.py in C: NAME_f in float, NAME_d in double.

   The float ones have no branches and no tables, so that a compiler makes vectors of the loops
   around them. Each polynomial is the Chebyshev interpolant of its function on the interval named;
   its own error stands beside it, and is below that of float itself (6e-8). The double ones are
   the C library's: few pixels need them. */
#include <math.h>
#include <stdint.h>
#include <string.h>

#if defined(_WIN32)
#define EXPORT __declspec(dllexport)
#else
#define EXPORT __attribute__((visibility("default")))
#endif
#define INLINE static inline __attribute__((always_inline))

INLINE int32_t bits_of(float x) { int32_t b; memcpy(&b, &x, 4); return b; }
INLINE float float_of(int32_t b) { float x; memcpy(&x, &b, 4); return x; }

/* Where x is no number, the second value is taken. */
INLINE float maximum_f(float x, float y) { return x > y ? x : y; }
INLINE float minimum_f(float x, float y) { return x < y ? x : y; }
INLINE float absolute_f(float x) { return fabsf(x); }
INLINE float copysign_f(float x, float y) { return copysignf(x, y); }
INLINE float sqrt_f(float x) { return sqrtf(x); }

/* 2^x = 2^n 2^f, f in -0.5 to 0.5 (2e-9); held to -126 ... 127. */
INLINE float exp2_f(float x) {
    x = maximum_f(x, -126.0f);
    x = minimum_f(x, 127.0f);
    float n = rintf(x), f = x - n;
    float y = 1.0f + f * (6.931472067e-01f + f * (2.402265092e-01f + f * (5.550327227e-02f
        + f * (9.618056678e-03f + f * (1.340042818e-03f + f * 1.546144472e-04f)))));
    return float_of(bits_of(y) + ((int32_t)n << 23));
}

/* x = 2^e m, m about 0.71 to 1.41; log2 m by s = (m - 1) / (m + 1) (2e-9 s). */
INLINE float log2_f(float x) {
    x = maximum_f(x, 1.2e-38f);
    int32_t b = bits_of(x), e = (b - 0x3f3504f3) >> 23;
    float m = float_of(b - (int32_t)((uint32_t)e << 23));
    float s = (m - 1.0f) / (m + 1.0f), q = s * s;
    return (float)e + s * (2.885390080e+00f + q * (9.617988388e-01f
        + q * (5.767151860e-01f + q * 4.317176972e-01f)));
}

INLINE float power_f(float x, float p) {
    float y = exp2_f(p * log2_f(x));
    return x > 0.0f ? y : 0.0f;
}

/* A first guess by a third of the exponent, then two steps of Halley's rule. */
INLINE float cbrt_f(float x) {
    float a = maximum_f(fabsf(x), 1.2e-38f);
    float y = float_of((int32_t)((uint32_t)bits_of(a) / 3u) + 709921077);
    float c = y * y * y;
    y = y * (c + a + a) / (c + c + a);
    c = y * y * y;
    y = y * (c + a + a) / (c + c + a);
    y = fabsf(x) > 1.2e-38f ? y : 0.0f;
    return copysignf(y, x);
}

/* atan q / q of q = smaller / larger, as a polynomial of q^2 in 0-1 (2e-8). */
INLINE float atan2_f(float y, float x) {
    float ax = fabsf(x), ay = fabsf(y);
    float large = maximum_f(ax, ay), small = minimum_f(ax, ay);
    float q = small / maximum_f(large, 1.2e-38f), s = q * q;
    float a = q * (9.999999818e-01f + s * (-3.333303671e-01f + s * (1.999187203e-01f
        + s * (-1.419779779e-01f + s * (1.061837063e-01f + s * (-7.456854814e-02f
        + s * (4.213762345e-02f + s * (-1.573124904e-02f + s * 2.766283480e-03f))))))));
    a = ay > ax ? 1.570796327f - a : a;
    a = x < 0.0f ? 3.141592654f - a : a;
    return copysignf(a, y);
}

/* sin g / g of g = x - n pi, as a polynomial of g^2 to (pi / 2)^2 (4e-9). */
INLINE float sin_f(float x) {
    float n = rintf(x * 0.318309886f);
    float g = (x - n * 3.140625f) - n * 9.67653589793e-4f, q = g * g;
    float s = g * (9.999999957e-01f + q * (-1.666665795e-01f + q * (8.333050171e-03f
        + q * (-1.980901741e-04f + q * 2.605107634e-06f))));
    float odd = n - 2.0f * rintf(n * 0.5f);
    return s * (1.0f - 2.0f * odd * odd);
}

INLINE float cos_f(float x) { return sin_f(x + 1.570796327f); }

/* ln(1 + y), y = e^-|x| in 0-1, by s = y / (2 + y) (8e-9 s). */
INLINE float softplus_f(float x) {
    float y = exp2_f(-1.442695041f * fabsf(x)), s = y / (2.0f + y), q = s * s;
    return maximum_f(x, 0.0f) + s * (2.000000008e+00f + q * (6.666632164e-01f
        + q * (4.002459523e-01f + q * (2.796515776e-01f + q * 2.815777831e-01f))));
}

INLINE double maximum_d(double x, double y) { return x > y ? x : y; }
INLINE double minimum_d(double x, double y) { return x < y ? x : y; }
INLINE double absolute_d(double x) { return fabs(x); }
INLINE double copysign_d(double x, double y) { return copysign(x, y); }
INLINE double sqrt_d(double x) { return sqrt(x); }
INLINE double exp2_d(double x) { return exp2(x); }
INLINE double log2_d(double x) { return log2(x); }
INLINE double power_d(double x, double p) { return pow(x, p); }
INLINE double cbrt_d(double x) { return cbrt(x); }
INLINE double sin_d(double x) { return sin(x); }
INLINE double cos_d(double x) { return cos(x); }
INLINE double atan2_d(double y, double x) { return atan2(y, x); }
INLINE double softplus_d(double x) { return maximum_d(x, 0.0) + log1p(exp(-fabs(x))); }
