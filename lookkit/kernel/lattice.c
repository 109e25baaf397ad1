/* The bounded way's lattice: reading it, and proving its cells.

   A colour's place in the lattice is its mean code, r - g and b - (r + g) / 2; the two
   differences are spread by asinh, so that points lie closest near grey. A point holds three
   values of the target and, as a fourth number, what is known of the cell that begins there.
   Between points the lattice is read by tetrahedra that share the cell's main diagonal.

   Without -ffast-math, for a NaN must stay outside every cell. EXPORT is that of `maths.h`: all C
   files here are compiled as one text. */

#include <math.h>
#include <stdint.h>
#include <string.h>

#define BLOCK 512

typedef float four __attribute__((vector_size(16)));

/* What is known of a cell: 0 nothing yet, 1 within the bound, 2 not, 3 about to be proved. */
enum { UNKNOWN = 0, WITHIN = 1, BEYOND = 2, WAITING = 3 };

struct lattice {
    float *points;     /* n0 n1 n2 points of four floats, aligned to 16 bytes */
    float *errors;     /* largest error found in the cell that begins at each point; 0: none yet */
    int32_t n[3];      /* points along mean, r - g, b - (r + g) / 2 */
    float slope[3];    /* cells a unit of mean; of asinh's base-2 logarithm for the others */
    float place[12];   /* rows of a 3x3 and offset: input to mean, and differences over the scale */
    float rgb[12];     /* rows of a 3x3 and offset: input to R'G'B' */
    float coded[12];   /* rows of a 3x3 and offset: R'G'B' to the values that points hold */
    const double *axis[3]; /* mean and differences at every half step, 2 n - 1 of each */
};

static inline float below(float x, float y) { return x < y ? x : y; }
static inline float above(float x, float y) { return x > y ? x : y; }

/* asinh in base 2. log2 of x = 2^e m by the series of 2 atanh(s), |s| < .172: off by 4e-8. */
static inline float spread(float d)
{
    float a = fabsf(d), x = a + sqrtf(a * a + 1.0f);
    int32_t bits, e;
    memcpy(&bits, &x, 4);
    e = (bits - 0x3f3504f3) >> 23;
    bits -= e * (1 << 23);
    float m;
    memcpy(&m, &bits, 4);
    float s = (m - 1.0f) / (m + 1.0f), q = s * s;
    const float k = 2.88539008f;
    float y = (float)e + k * s * (1.0f + q * (1.0f / 3 + q * (1.0f / 5 + q * (1.0f / 7))));
    return copysignf(y, d);
}

struct places {
    int32_t base[BLOCK], first[BLOCK], second[BLOCK], outside[BLOCK];
    float w0[BLOCK], w1[BLOCK], w2[BLOCK], w3[BLOCK];
};

static inline void find(const struct lattice *l, const float *restrict a, const float *restrict b,
                        const float *restrict c, int count, struct places *restrict p)
{
    const float *t = l->place;
    const float e0 = (float)(l->n[0] - 1), e1 = (float)(l->n[1] - 1), e2 = (float)(l->n[2] - 1);
    const float h1 = 0.5f * e1, h2 = 0.5f * e2;
    const float s0 = l->slope[0], s1 = l->slope[1], s2 = l->slope[2];
    const float t0 = t[0], t1 = t[1], t2 = t[2], t3 = t[3], t4 = t[4], t5 = t[5], t6 = t[6],
                t7 = t[7], t8 = t[8], o0 = t[9], o1 = t[10], o2 = t[11];
    const int32_t across = l->n[1] * l->n[2], along = l->n[2], all = across + along + 1;
    for (int i = 0; i < count; i++) {
        float x = s0 * (t0 * a[i] + t1 * b[i] + t2 * c[i] + o0);
        float y = h1 + s1 * spread(t3 * a[i] + t4 * b[i] + t5 * c[i] + o1);
        float z = h2 + s2 * spread(t6 * a[i] + t7 * b[i] + t8 * c[i] + o2);
        /* NaN fails every comparison, and counts as outside. */
        int32_t in = (x >= 0.0f) & (x <= e0) & (y >= 0.0f) & (y <= e1) & (z >= 0.0f) & (z <= e2);
        x = below(above(x, 0.0f), e0);
        y = below(above(y, 0.0f), e1);
        z = below(above(z, 0.0f), e2);
        int32_t i0 = (int32_t)below(x, e0 - 1.0f), i1 = (int32_t)below(y, e1 - 1.0f),
                i2 = (int32_t)below(z, e2 - 1.0f);
        x -= (float)i0;
        y -= (float)i1;
        z -= (float)i2;
        float most = above(above(x, y), z), least = below(below(x, y), z);
        float middle = x + y + z - most - least;
        int32_t start = i0 * across + i1 * along + i2;
        int32_t up = x == most ? across : y == most ? along : 1;
        int32_t back = z == least ? 1 : y == least ? along : across;
        p->base[i] = start;
        p->first[i] = start + up;
        p->second[i] = start + all - back;
        p->outside[i] = !in;
        p->w0[i] = 1.0f - most;
        p->w1[i] = most - middle;
        p->w2[i] = middle - least;
        p->w3[i] = least;
    }
}

struct lists {
    int32_t *pixels, *cells; /* pixels that the lattice does not serve; cells nothing is known of */
    int64_t pixel_count, cell_count;
};

/* Read `count` places into `values`; list, counted from `at`, what the lattice does not serve. */
static inline void gather(const struct lattice *l, const struct places *restrict p, int count,
                          float *restrict values, int32_t at, struct lists *restrict lists)
{
    const int32_t all = l->n[1] * l->n[2] + l->n[2] + 1;
    const four *restrict points = (const four *)l->points;
    four *restrict out = (four *)values;
    int32_t *restrict pixels = lists->pixels + lists->pixel_count;
    int32_t listed = 0;
    for (int i = 0; i < count; i++) {
        const four *cell = points + p->base[i];
        four start = cell[0];
        out[i] = start * p->w0[i] + points[p->first[i]] * p->w1[i]
                 + points[p->second[i]] * p->w2[i] + cell[all] * p->w3[i];
        pixels[listed] = i;
        listed += (start[3] != WITHIN) | p->outside[i];
    }
    for (int32_t k = 0; k < listed; k++) {
        int32_t i = pixels[k], base = p->base[i];
        pixels[k] = at + i;
        if (!p->outside[i] && l->points[4 * (int64_t)base + 3] == UNKNOWN) {
            l->points[4 * (int64_t)base + 3] = WAITING;
            lists->cells[lists->cell_count++] = base;
        }
    }
    lists->pixel_count += listed;
}

/* Grade rows of three planes of 16-bit integers.

   source, target: three planes each; rows begin `stride` and `target_stride` samples apart.
   pixels: room for width rows + 1, gets the indices (row width + column) that remain.
   cells: the same room, gets the cells that must be proved first; counts: how many of each. */
EXPORT void lookkit_lattice_planes(const struct lattice *l, const uint16_t *const *source,
                                int64_t stride, uint16_t *const *target, int64_t target_stride,
                                int32_t width, int32_t rows, int32_t *pixels, int32_t *cells,
                                int64_t *counts)
{
    struct places p;
    struct lists lists = {pixels, cells, 0, 0};
    float a[BLOCK], b[BLOCK], c[BLOCK];
    float values[4 * BLOCK] __attribute__((aligned(16)));
    for (int32_t row = 0; row < rows; row++)
        for (int32_t from = 0; from < width; from += BLOCK) {
            int count = width - from < BLOCK ? width - from : BLOCK;
            const uint16_t *s0 = source[0] + row * stride + from,
                           *s1 = source[1] + row * stride + from,
                           *s2 = source[2] + row * stride + from;
            uint16_t *restrict t0 = target[0] + row * target_stride + from;
            uint16_t *restrict t1 = target[1] + row * target_stride + from;
            uint16_t *restrict t2 = target[2] + row * target_stride + from;
            for (int i = 0; i < count; i++) {
                a[i] = (float)s0[i];
                b[i] = (float)s1[i];
                c[i] = (float)s2[i];
            }
            find(l, a, b, c, count, &p);
            gather(l, &p, count, values, row * width + from, &lists);
            for (int i = 0; i < count; i++) {
                t0[i] = (uint16_t)(int32_t)below(above(values[4 * i] + 0.5f, 0.0f), 65535.0f);
                t1[i] = (uint16_t)(int32_t)below(above(values[4 * i + 1] + 0.5f, 0.0f), 65535.0f);
                t2[i] = (uint16_t)(int32_t)below(above(values[4 * i + 2] + 0.5f, 0.0f), 65535.0f);
            }
        }
    counts[0] = lists.pixel_count;
    counts[1] = lists.cell_count;
}

/* Grade `total` packed R'G'B' floats; lists as above. */
EXPORT void lookkit_lattice_packed(const struct lattice *l, const float *source, float *target,
                                int32_t total, int32_t *pixels, int32_t *cells, int64_t *counts)
{
    struct places p;
    struct lists lists = {pixels, cells, 0, 0};
    float a[BLOCK], b[BLOCK], c[BLOCK];
    float values[4 * BLOCK] __attribute__((aligned(16)));
    for (int32_t from = 0; from < total; from += BLOCK) {
        int count = total - from < BLOCK ? total - from : BLOCK;
        const float *s = source + 3 * (int64_t)from;
        float *restrict t = target + 3 * (int64_t)from;
        for (int i = 0; i < count; i++) {
            a[i] = s[3 * i];
            b[i] = s[3 * i + 1];
            c[i] = s[3 * i + 2];
        }
        find(l, a, b, c, count, &p);
        gather(l, &p, count, values, from, &lists);
        for (int i = 0; i < count; i++) {
            t[3 * i] = values[4 * i];
            t[3 * i + 1] = values[4 * i + 1];
            t[3 * i + 2] = values[4 * i + 2];
        }
    }
    counts[0] = lists.pixel_count;
    counts[1] = lists.cell_count;
}

static inline float mixed(const float *m, int row, const float *v)
{
    return m[3 * row] * v[0] + m[3 * row + 1] * v[1] + m[3 * row + 2] * v[2] + m[9 + row];
}

/* The R'G'B' of some pixels of planes, three floats each; and back, rounded. */
EXPORT void lookkit_lattice_take(const struct lattice *l, const uint16_t *const *source,
                                 int64_t stride, int32_t width, const int32_t *pixels,
                                 int64_t count, float *rgb)
{
    for (int64_t i = 0; i < count; i++) {
        int64_t at = pixels[i] / width * stride + pixels[i] % width;
        float v[3] = {(float)source[0][at], (float)source[1][at], (float)source[2][at]};
        for (int k = 0; k < 3; k++)
            rgb[3 * i + k] = mixed(l->rgb, k, v);
    }
}

EXPORT void lookkit_lattice_put(const struct lattice *l, uint16_t *const *target, int64_t stride,
                                int32_t width, const int32_t *pixels, int64_t count,
                                const float *rgb)
{
    for (int64_t i = 0; i < count; i++) {
        int64_t at = pixels[i] / width * stride + pixels[i] % width;
        for (int k = 0; k < 3; k++) {
            float value = mixed(l->coded, k, rgb + 3 * i) + 0.5f;
            target[k][at] = (uint16_t)(int32_t)below(above(value, 0.0f), 65535.0f);
        }
    }
}

static void split(const struct lattice *l, int32_t cell, int32_t at[3])
{
    at[2] = cell % l->n[2];
    at[1] = cell / l->n[2] % l->n[1];
    at[0] = cell / l->n[2] / l->n[1];
}

/* The cells around and at `at`: bounds of each index, held within the lattice. */
static void bounds(const struct lattice *l, const int32_t at[3], int32_t from[3], int32_t to[3])
{
    for (int k = 0; k < 3; k++) {
        from[k] = at[k] > 0 ? at[k] - 1 : 0;
        to[k] = at[k] < l->n[k] - 2 ? at[k] + 1 : l->n[k] - 2;
    }
}

/* List, of cells and their neighbours, those not measured yet; `found` has room for 27 count. */
EXPORT int64_t lookkit_lattice_unmeasured(const struct lattice *l, const int32_t *cells, int64_t count,
                                       int32_t *found)
{
    int64_t listed = 0;
    for (int64_t c = 0; c < count; c++) {
        int32_t at[3], from[3], to[3];
        split(l, cells[c], at);
        bounds(l, at, from, to);
        for (int32_t i = from[0]; i <= to[0]; i++)
            for (int32_t j = from[1]; j <= to[1]; j++)
                for (int32_t k = from[2]; k <= to[2]; k++) {
                    int32_t cell = (i * l->n[1] + j) * l->n[2] + k;
                    if (l->errors[cell] == 0.0f) {
                        l->errors[cell] = -1.0f; /* listed */
                        found[listed++] = cell;
                    }
                }
    }
    return listed;
}

/* List the 27 half steps of each cell once: its corners and the middles of all its edges, faces
   and the cell itself, which are the middles of the edges of its tetrahedra.

   table: `room` pairs of integers, a power of two over twice 27 count. codes: R'G'B' of each
   half step, 27 count x 3; index: 27 a cell. Returns how many half steps there are. */
EXPORT int64_t lookkit_lattice_probes(const struct lattice *l, const int32_t *cells, int64_t count,
                                   int32_t *table, int64_t room, float *codes, int32_t *index)
{
    const int32_t h1 = 2 * l->n[1] - 1, h2 = 2 * l->n[2] - 1;
    int64_t listed = 0;
    memset(table, 0xff, (size_t)room * 8);
    for (int64_t c = 0; c < count; c++) {
        int32_t at[3];
        split(l, cells[c], at);
        for (int32_t m = 0; m < 27; m++) {
            int32_t i = 2 * at[0] + m / 9, j = 2 * at[1] + m / 3 % 3, k = 2 * at[2] + m % 3;
            int32_t key = (i * h1 + j) * h2 + k;
            uint64_t slot = ((uint64_t)(uint32_t)key * 0x9e3779b97f4a7c15u) >> 32 & (uint64_t)(room - 1);
            while (table[2 * slot] != key && table[2 * slot] != -1)
                slot = (slot + 1) & (uint64_t)(room - 1);
            if (table[2 * slot] == -1) {
                double mean = l->axis[0][i], red = l->axis[1][j], blue = l->axis[2][k];
                float *to = codes + 3 * listed;
                to[0] = (float)(mean - blue / 3 + red / 2);
                to[1] = (float)(mean - blue / 3 - red / 2);
                to[2] = (float)(mean + 2 * blue / 3);
                table[2 * slot] = key;
                table[2 * slot + 1] = (int32_t)listed++;
            }
            index[27 * c + m] = table[2 * slot + 1];
        }
    }
    return listed;
}

/* The half steps between two corners each, as indices of 27: middles and what they lie between. */
static const uint8_t EDGES[19][3] = {
    {1, 0, 2},    {3, 0, 6},    {9, 0, 18},   {4, 0, 8},    {10, 0, 20},  {12, 0, 24},
    {13, 0, 26},  {5, 2, 8},    {11, 2, 20},  {14, 2, 26},  {7, 6, 8},    {15, 6, 24},
    {16, 6, 26},  {17, 8, 26},  {19, 18, 20}, {21, 18, 24}, {22, 18, 26}, {23, 20, 26},
    {25, 24, 26},
};

/* Measure cells from the values, R'G'B', of their half steps, and give their corners' to points. */
EXPORT void lookkit_lattice_measure(const struct lattice *l, const int32_t *cells, int64_t count,
                                 const float *values, const int32_t *index)
{
    static const int32_t corners[8] = {0, 2, 6, 8, 18, 20, 24, 26};
    for (int64_t c = 0; c < count; c++) {
        const int32_t *at = index + 27 * c;
        float most = 1e-12f;
        for (int m = 0; m < 19; m++) {
            const float *v = values + 3 * (int64_t)at[EDGES[m][0]];
            const float *a = values + 3 * (int64_t)at[EDGES[m][1]];
            const float *b = values + 3 * (int64_t)at[EDGES[m][2]];
            for (int k = 0; k < 3; k++) {
                float off = fabsf(v[k] - 0.5f * (a[k] + b[k]));
                /* A NaN fails, and the cell with it. */
                most = off <= most ? most : off == off ? off : INFINITY;
            }
        }
        l->errors[cells[c]] = most;
        for (int m = 0; m < 8; m++) {
            const float *v = values + 3 * (int64_t)at[corners[m]];
            int64_t point = (int64_t)cells[c] + (m >> 2) * l->n[1] * l->n[2]
                            + (m >> 1 & 1) * l->n[2] + (m & 1);
            for (int k = 0; k < 3; k++)
                l->points[4 * point + k] = mixed(l->coded, k, v);
        }
    }
}

/* Say of each cell whether it is within the bound: no error over `tolerance` in it and in the
   cells that touch it. */
EXPORT void lookkit_lattice_judge(const struct lattice *l, const int32_t *cells, int64_t count,
                               float tolerance)
{
    for (int64_t c = 0; c < count; c++) {
        int32_t at[3], from[3], to[3];
        float most = 0.0f;
        split(l, cells[c], at);
        bounds(l, at, from, to);
        for (int32_t i = from[0]; i <= to[0]; i++)
            for (int32_t j = from[1]; j <= to[1]; j++)
                for (int32_t k = from[2]; k <= to[2]; k++) {
                    float error = l->errors[(i * l->n[1] + j) * l->n[2] + k];
                    most = above(most, error > 0.0f ? error : INFINITY); /* not measured: bad */
                }
        l->points[4 * (int64_t)cells[c] + 3] = most <= tolerance ? WITHIN : BEYOND;
    }
}
