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

/* 1 / (m + 1), m about 0.71 to 1.41: a straight line (1.5e-2), a step of the third order, one of
   Newton's (1e-11). A division takes vectors longer than all of this. */
INLINE float over_one_more_f(float m) {
    float w = m + 1.0f, y = 9.850614953e-01f - 2.390159948e-01f * w, e = 1.0f - w * y;
    y = y + y * (e + e * e);
    return y + y * (1.0f - w * y);
}

/* x = 2^e m, m about 0.71 to 1.41; log2 m by s = (m - 1) / (m + 1) (2e-9 s). */
INLINE float log2_f(float x) {
    x = maximum_f(x, 1.2e-38f);
    int32_t b = bits_of(x), e = (b - 0x3f3504f3) >> 23;
    float m = float_of(b - (int32_t)((uint32_t)e << 23));
    float s = (m - 1.0f) * over_one_more_f(m), q = s * s;
    return (float)e + s * (2.885390080e+00f + q * (9.617988388e-01f
        + q * (5.767151860e-01f + q * 4.317176972e-01f)));
}

INLINE float power_f(float x, float p) {
    float y = exp2_f(p * log2_f(x));
    return x > 0.0f ? y : 0.0f;
}

/* A guess at x^(-1/3) by a third of the exponent (4e-2), a step of the third order; then x y^2 is
   the root, and another step is made on it. Without a division, see above. */
INLINE float cbrt_f(float x) {
    float a = maximum_f(fabsf(x), 1.2e-38f);
    float y = float_of((int32_t)(1419902976.0f - (float)bits_of(a) * 0.333333343f));
    float r = 1.0f - (a * y) * y * y;
    y = y + y * (r * (0.333333343f + r * 0.222222224f));
    float z = (a * y) * y;
    r = 1.0f - z * y;
    z = z + z * (r * (0.666666687f + r * 0.555555582f));
    z = fabsf(x) > 1.2e-38f ? z : 0.0f;
    return copysignf(z, x);
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

/* (e^x - 1) / x: where x is small, by its series to x^7 (1e-7 of it at 1/2). */
INLINE float growth_f(float x) {
    float near = 1.0f + x * (0.5f + x * (1.666666716e-01f + x * (4.166666791e-02f
        + x * (8.333333768e-03f + x * (1.388888923e-03f + x * 1.984127011e-04f)))));
    float far = (exp2_f(1.442695041f * x) - 1.0f) / (fabsf(x) < 0.5f ? 1.0f : x);
    return fabsf(x) < 0.5f ? near : far;
}

INLINE double maximum_d(double x, double y) { return x > y ? x : y; }
INLINE double minimum_d(double x, double y) { return x < y ? x : y; }
INLINE double absolute_d(double x) { return fabs(x); }
INLINE double copysign_d(double x, double y) { return copysign(x, y); }
INLINE double sqrt_d(double x) { return sqrt(x); }

INLINE int64_t bits_of_d(double x) { int64_t b; memcpy(&b, &x, 8); return b; }
INLINE double double_of(int64_t b) { double x; memcpy(&x, &b, 8); return x; }

/* 2^x as above (1e-15); held to -1022 ... 1023. The sum with 1.5 x 2^52 leaves the nearest whole
   number in its lowest bits. */
INLINE double exp2_d(double x) {
    x = maximum_d(x, -1022.0);
    x = minimum_d(x, 1023.0);
    double t = x + 0x1.8p52, f = x - (t - 0x1.8p52);
    double y = 1.0 + f * (0.69314718055994984 + f * (0.24022650695908138
        + f * (0.055504108664363103 + f * (0.0096181291079317499 + f * (0.0013333558255621528
        + f * (0.00015403530317564183 + f * (1.525263206439067e-05 + f * (1.3215421895899779e-06
        + f * (1.0218952781893072e-07 + f * (7.0848604701922824e-09
        - f * 1.4803201001342177e-10))))))))));
    return double_of((int64_t)((uint64_t)bits_of_d(y) + ((uint64_t)bits_of_d(t) << 52)));
}

/* log2 as above (2e-15 s). The exponent becomes a number by way of the bits of 2^52. */
INLINE double log2_d(double x) {
    x = maximum_d(x, 2.3e-308);
    uint64_t b = (uint64_t)bits_of_d(x);
    uint64_t e = (b - 0x3fe6a09e667f3bcdu + ((uint64_t)1023 << 52)) >> 52;
    double m = double_of((int64_t)(b - ((e - 1023) << 52)));
    double whole = double_of((int64_t)(e | (uint64_t)0x4330000000000000u)) - (0x1p52 + 1023.0);
    double s = (m - 1.0) / (m + 1.0), q = s * s;
    return whole + s * (2.8853900817779272 + q * (0.96179669392619838 + q * (0.57707801634614786
        + q * (0.41219857728631371 + q * (0.32059961280307325 + q * (0.26227952239931085
        + q * (0.2221676265105775 + q * 0.20315293780820182)))))));
}

INLINE double power_d(double x, double p) {
    double y = exp2_d(p * log2_d(x));
    return x > 0.0 ? y : 0.0;
}

INLINE double cbrt_d(double x) {
    double y = exp2_d(log2_d(fabs(x)) * (1.0 / 3.0));
    return copysign(fabs(x) > 1e-300 ? y : 0.0, x);
}

/* atan q / q as above (8e-15). */
INLINE double atan2_d(double y, double x) {
    double ax = fabs(x), ay = fabs(y);
    double large = maximum_d(ax, ay), small = minimum_d(ax, ay);
    double q = small / maximum_d(large, 1e-300), s = q * q;
    double a = q * (0.99999999999999301 + s * (-0.33333333332909115 + s * (0.19999999958433951
        + s * (-0.1428571267197167 + s * (0.11111077982793852 + s * (-0.090904935391056263
        + s * (0.076888375515003438 + s * (-0.066462675488959441 + s * (0.057946069551046669
        + s * (-0.049790335038812007 + s * (0.040536932651476468 + s * (-0.029615026319387873
        + s * (0.018224239825013692 + s * (-0.0088103105308637228 + s * (0.0030743179024454274
        + s * (-0.00067973417648291171 + s * 7.0925534566382482e-05))))))))))))))));
    a = ay > ax ? 1.5707963267948966 - a : a;
    a = x < 0.0 ? 3.141592653589793 - a : a;
    return copysign(a, y);
}

/* sin g / g as above (8e-16). */
INLINE double sin_d(double x) {
    double n = rint(x * 0.31830988618379067);
    double g = (x - n * 3.141592653589793) - n * 1.2246467991473532e-16, q = g * g;
    double s = g * (1.0 + q * (-0.16666666666667276 + q * (0.0083333333333936704
        + q * (-0.00019841269860418505 + q * (2.7557322160186539e-06
        + q * (-2.5052354393333654e-08 + q * (1.6070547539682624e-10
        - q * 7.9283885423126191e-13)))))));
    double odd = n - 2.0 * rint(n * 0.5);
    return s * (1.0 - 2.0 * odd * odd);
}

INLINE double cos_d(double x) { return sin_d(x + 1.5707963267948966); }

/* ln(1 + y) as above (4e-15 s). */
INLINE double softplus_d(double x) {
    double y = exp2_d(-1.4426950408889634 * fabs(x)), s = y / (2.0 + y), q = s * s;
    return maximum_d(x, 0.0) + s * (1.9999999999999987 + q * (0.66666666666699903
        + q * (0.39999999991412044 + q * (0.28571429488366379 + q * (0.22222171387543951
        + q * (0.18183459585344042 + q * (0.15352062092050286 + q * (0.13734270698562159
        + q * (0.08794505144694692 + q * (0.22426265698844636
        - q * 0.085513741522453654))))))))));
}

/* As above: its series to x^13 (1e-15 at 1/2). */
INLINE double growth_d(double x) {
    double term = 1.0, near = 1.0;
    for (int k = 2; k < 15; k++) {
        term *= x / k;
        near += term;
    }
    double far = (exp2_d(1.4426950408889634 * x) - 1.0) / (fabs(x) < 0.5 ? 1.0 : x);
    return fabs(x) < 0.5 ? near : far;
}
