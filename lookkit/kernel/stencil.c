/* Conjugate gradients for a symmetric matrix that couples a point of a lattice with its
   neighbours only: a diagonal, and for each shift the couplings of every point with the one that
   far beyond. `lookkit/lattice/equations.py` says what for, and does the same in numpy. */

#include <stdlib.h>

enum { STENCIL_BLOCK = 2048 };

struct stencil {
    int64_t points;
    int32_t count;     /* shifts */
    float keep;        /* the diagonal counts this much */
    const int64_t *shifts;
    const float *const *couplings;
    const float *diagonal;
    const float *right;
    const uint8_t *free; /* 0: the value stays */
};

static void stencil_add(int64_t count, const float *restrict coupling, const float *restrict x,
                        float *restrict out) {
    for (int64_t i = 0; i < count; i++) out[i] += coupling[i] * x[i];
}

/* out = the matrix times x, from `first` up to `last`. */
static void stencil_times(const struct stencil *s, int64_t first, int64_t last, const float *x,
                          float *out) {
    for (int64_t i = first; i < last; i++) out[i] = s->keep * s->diagonal[i] * x[i];
    for (int k = 0; k < s->count; k++) {
        int64_t shift = s->shifts[k];
        const float *coupling = s->couplings[k];
        int64_t end = last < s->points - shift ? last : s->points - shift;
        int64_t start = first > shift ? first : shift;
        if (end > first) stencil_add(end - first, coupling + first, x + first + shift, out + first);
        if (last > start)
            stencil_add(last - start, coupling + start - shift, x + start - shift, out + start);
    }
}

static double stencil_dot(int64_t count, const float *restrict a, const float *restrict b) {
    float sums[16] = {0};
    int64_t i = 0;
    for (; i + 16 <= count; i += 16)
        for (int k = 0; k < 16; k++) sums[k] += a[i + k] * b[i + k];
    double total = 0.0;
    for (int k = 0; k < 16; k++) total += sums[k];
    for (; i < count; i++) total += (double)a[i] * b[i];
    return total;
}

/* Improve x, at most `iterations` times or until what is missing has fallen by `tolerance`.
   Returns the number of times, or -1 without memory. */
EXPORT int32_t lookkit_stencil_descend(const struct stencil *s, float *x, int32_t iterations,
                                       double tolerance) {
    int64_t n = s->points;
    float *scale = malloc(4 * (size_t)n * sizeof(float));
    if (!scale) return -1;
    float *residual = scale + n, *direction = residual + n, *image = direction + n;
    double size = 0.0, asked = 0.0;
    for (int64_t first = 0; first < n; first += STENCIL_BLOCK) {
        int64_t last = first + STENCIL_BLOCK < n ? first + STENCIL_BLOCK : n;
        stencil_times(s, first, last, x, image);
        float most = 0.0f, all = 0.0f;
        for (int64_t i = first; i < last; i++) {
            float own = s->diagonal[i] * s->keep, open = s->free[i] ? 1.0f : 0.0f;
            scale[i] = open / (own > 1e-20f ? own : 1e-20f);
            residual[i] = open * (s->right[i] - image[i]);
            direction[i] = scale[i] * residual[i];
            most += residual[i] * direction[i];
            all += open * s->right[i] * scale[i] * s->right[i];
        }
        size += most;
        asked += all;
    }
    double wanted = (asked > size ? asked : size) * tolerance * tolerance;
    int32_t done = 0;
    for (; done < iterations && size > wanted; done++) {
        double along = 0.0, left = 0.0;
        for (int64_t first = 0; first < n; first += STENCIL_BLOCK) {
            int64_t last = first + STENCIL_BLOCK < n ? first + STENCIL_BLOCK : n;
            stencil_times(s, first, last, direction, image);
            /* Where the direction is 0 for a value that stays, so is its share. */
            along += stencil_dot(last - first, direction + first, image + first);
        }
        float length = (float)(size / (along > 1e-30 ? along : 1e-30));
        for (int64_t first = 0; first < n; first += STENCIL_BLOCK) {
            int64_t last = first + STENCIL_BLOCK < n ? first + STENCIL_BLOCK : n;
            float part[STENCIL_BLOCK];
            for (int64_t i = first; i < last; i++) {
                x[i] += length * direction[i];
                residual[i] -= s->free[i] ? length * image[i] : 0.0f;
                part[i - first] = scale[i] * residual[i];
            }
            left += stencil_dot(last - first, part, residual + first);
        }
        float turn = (float)(left / (size > 1e-30 ? size : 1e-30));
        for (int64_t i = 0; i < n; i++)
            direction[i] = turn * direction[i] + scale[i] * residual[i];
        size = left;
    }
    free(scale);
    return done;
}
