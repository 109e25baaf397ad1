/* What texture does to bands of pixels: rows of `width` pixels, three floats each. numpy has the
   same in lookkit/texture; whole numbers come out alike to the last bit. */

enum { LANES = 48 };

INLINE int32_t mirrored(long i, long length) {
    long at = i % (2 * length);
    at = at < 0 ? at + 2 * length : at;
    return (int32_t)(at < length ? at : 2 * length - 1 - at);
}

/* Philox4x32-10 of a row: sums of five bytes for each of three layers, width values. */
static void noise_row(int32_t *restrict a, int32_t *restrict b, int32_t *restrict c, long x0,
    uint32_t y, uint32_t frame, uint32_t key0, uint32_t key1, long width)
{
    for (long i = 0; i < width; i++) {
        uint32_t c0 = (uint32_t)(x0 + i), c1 = y, c2 = frame, c3 = 0, k0 = key0, k1 = key1;
        for (int round = 0; round < 10; round++) {
            uint64_t p = (uint64_t)c0 * 0xD2511F53u, q = (uint64_t)c2 * 0xCD9E8D57u;
            c0 = (uint32_t)(q >> 32) ^ c1 ^ k0; c1 = (uint32_t)q;
            c2 = (uint32_t)(p >> 32) ^ c3 ^ k1; c3 = (uint32_t)p;
            k0 += 0x9E3779B9u; k1 += 0xBB67AE85u;
        }
        a[i] = (int32_t)((c0 & 255) + (c0 >> 8 & 255) + (c0 >> 16 & 255) + (c0 >> 24)
            + (c3 & 255));
        b[i] = (int32_t)((c1 & 255) + (c1 >> 8 & 255) + (c1 >> 16 & 255) + (c1 >> 24)
            + (c3 >> 8 & 255));
        c[i] = (int32_t)((c2 & 255) + (c2 >> 8 & 255) + (c2 >> 16 & 255) + (c2 >> 24)
            + (c3 >> 16 & 255));
    }
}

/* The grain field of rows y0 ... and columns x0 ..., three planes of whole numbers. `taps` has
   2 reach + 1 for each layer, the same across and down. Returns -1 without memory. */
EXPORT int lookkit_texture_grain(int32_t *out, long rows, long width, long x0, long y0,
    uint32_t frame, uint32_t key0, uint32_t key1, const int32_t *taps, int reach)
{
    const long n = 2 * reach + 1, wide = width + 2 * reach;
    int32_t *raw = malloc(sizeof(int32_t) * 3 * (size_t)wide);
    int32_t *ring = malloc(sizeof(int32_t) * 3 * (size_t)(n * width));
    if (!raw || !ring) { free(raw); free(ring); return -1; }
    for (long j = 0; j < rows + 2 * reach; j++) {
        noise_row(raw, raw + wide, raw + 2 * wide, x0 - reach, (uint32_t)(y0 + j - reach), frame,
            key0, key1, wide);
        for (int c = 0; c < 3; c++) {
            const int32_t *q = raw + c * wide, *tap = taps + c * n + reach;
            int32_t *restrict d = ring + ((j % n) * 3 + c) * width;
            for (long i = 0; i < width; i++) d[i] = tap[0] * (2 * q[i + reach] - 1275);
            for (int t = 1; t <= reach; t++)
                for (long i = 0; i < width; i++)
                    d[i] += tap[t] * (2 * (q[i + reach - t] + q[i + reach + t]) - 2550);
            for (long i = 0; i < width; i++) d[i] = (d[i] + 32) >> 6;
        }
        if (j < 2 * reach) continue;
        for (int c = 0; c < 3; c++) {
            const int32_t *tap = taps + c * n + reach;
            int32_t *restrict o = out + (c * rows + j - 2 * reach) * width;
            const int32_t *mid = ring + (((j - reach) % n) * 3 + c) * width;
            for (long i = 0; i < width; i++) o[i] = tap[0] * mid[i];
            for (int t = 1; t <= reach; t++) {
                const int32_t *above = ring + (((j - reach - t) % n) * 3 + c) * width;
                const int32_t *below = ring + (((j - reach + t) % n) * 3 + c) * width;
                for (long i = 0; i < width; i++) o[i] += tap[t] * (above[i] + below[i]);
            }
        }
    }
    free(raw); free(ring);
    return 0;
}

/* Means of squares of `by` pixels into three planes of doubles; what a square lacks at the right
   and below is the last column and row again. `low_rows` rows of squares. */
EXPORT void lookkit_texture_box(const float *in, long rows, long width, long by, double *out,
    long low_rows, long plane)
{
    const long low = (width + by - 1) / by;
    const double share = 1.0 / ((double)by * (double)by);
    for (long y = 0; y < low_rows; y++)
        for (long a = 0; a < by; a++) {
            long at = y * by + a < rows ? y * by + a : rows - 1;
            const float *row = in + 3 * width * at;
            for (int c = 0; c < 3; c++) {
                double *o = out + c * plane + y * low;
                for (long x = 0; x < low; x++) {
                    double sum = 0.0;
                    const long end = (x + 1) * by < width ? by : width - x * by;
                    for (long b = 0; b < end; b++) sum += row[3 * (x * by + b) + c];
                    sum += (double)(by - end) * row[3 * (width - 1) + c];
                    o[x] = (a ? o[x] : 0.0) + share * sum;
                }
            }
        }
}

/* in += share (low - in), in place, `low` read between its points; row 0 is row y0 of the
   picture. `low` has three planes of low_h x low_w. Returns -1 without memory. */
EXPORT int lookkit_texture_spread(float *in, long rows, long width, long y0, long by,
    const float *low, long low_h, long low_w, const float *share)
{
    float *lines = malloc(sizeof(float) * (size_t)(low_w + 2));
    if (!lines) return -1;
    for (long j = 0; j < rows; j++) {
        float v = ((float)(y0 + j) + 0.5f) / (float)by - 0.5f;
        long top = (long)floorf(v);
        float down = v - (float)top;
        long first = top < 0 ? 0 : top, second = top + 1 < low_h ? top + 1 : low_h - 1;
        float *row = in + 3 * width * j;
        for (int c = 0; c < 3; c++) {
            if (share[c] == 0.0f) continue;
            const float *a = low + (c * low_h + first) * low_w;
            const float *b = low + (c * low_h + second) * low_w;
            const float s = share[c], keep = 1.0f - s;
            for (long x = 0; x < low_w; x++) lines[x + 1] = s * (a[x] + (b[x] - a[x]) * down);
            lines[0] = lines[1];
            lines[low_w + 1] = lines[low_w];
            for (long p = 0; p < by; p++) {
                float u = ((float)p + 0.5f) / (float)by - 0.5f;
                long step = u < 0.0f ? -1 : 0;
                float across = u - (float)step;
                const float *l = lines + 1 + step;
                for (long x = 0, i = p; i < width; x++, i += by)
                    row[3 * i + c] = row[3 * i + c] * keep + (l[x] + (l[x + 1] - l[x]) * across);
            }
        }
    }
    free(lines);
    return 0;
}

/* Sixteen floats that may lie anywhere. */
typedef float floats __attribute__((vector_size(64), aligned(4)));

INLINE floats floats_at(const float *p) { floats v; memcpy(&v, p, sizeof v); return v; }

/* s[k] = taps x p, and so on for the pairs of rows `near` floats before and after; LANES at once. */
INLINE void first_tap(floats *s, const float *wide, const float *p) {
    for (int k = 0; k < 3; k++) s[k] = floats_at(wide + 16 * k) * floats_at(p + 16 * k);
}
INLINE void next_tap(floats *s, const float *wide, const float *p, const float *q) {
    for (int k = 0; k < 3; k++)
        s[k] += floats_at(wide + 16 * k) * (floats_at(p + 16 * k) + floats_at(q + 16 * k));
}

/* A symmetric filter across and down, its own for each channel. `in` has rows + 2 reach rows, `out`
   rows. `taps` has reach + 1 for each channel, the middle first. With `edge` above 0, what stands
   out is raised by that share of it: in + edge (in - filtered). Returns -1 without memory. */
EXPORT int lookkit_texture_blur(const float *in, float *out, long rows, long width,
    const float *taps, int reach, float edge)
{
    const long n = 2 * reach + 1, many = (3 * width + LANES - 1) / LANES * LANES;
    float *pad = calloc((size_t)(many + 6L * reach), sizeof(float));
    float *ring = malloc(sizeof(float) * (size_t)(n * many));
    float *sum = malloc(sizeof(float) * (size_t)many);
    float *wide = malloc(sizeof(float) * LANES * (size_t)(reach + 1));
    const float **line = malloc(sizeof(float *) * (size_t)n);
    if (!pad || !ring || !sum || !wide || !line) {
        free(pad); free(ring); free(sum); free(wide); free(line);
        return -1;
    }
    for (int t = 0; t <= reach; t++)
        for (int i = 0; i < LANES; i++) wide[t * LANES + i] = taps[(i % 3) * (reach + 1) + t];
    for (long j = 0; j < rows + 2 * reach; j++) {
        const float *row = in + 3 * width * j;
        float *d = ring + (j % n) * many;
        memcpy(pad + 3 * reach, row, sizeof(float) * 3 * (size_t)width);
        for (long i = 1; i <= reach; i++)
            for (int c = 0; c < 3; c++) {
                pad[3 * (reach - i) + c] = row[3 * mirrored(-i, width) + c];
                pad[3 * (reach + width - 1 + i) + c] = row[3 * mirrored(width - 1 + i, width) + c];
            }
        for (long i = 0; i < many; i += LANES) {
            const float *p = pad + 3 * reach + i;
            floats s[3];
            first_tap(s, wide, p);
            for (int t = 1; t <= reach; t++)
                next_tap(s, wide + t * LANES, p - 3 * t, p + 3 * t);
            memcpy(d + i, s, sizeof s);
        }
        if (j < 2 * reach) continue;
        for (long k = 0; k < n; k++) line[k] = ring + ((j - 2 * reach + k) % n) * many;
        for (long i = 0; i < many; i += LANES) {
            floats s[3];
            first_tap(s, wide, line[reach] + i);
            for (int t = 1; t <= reach; t++)
                next_tap(s, wide + t * LANES, line[reach - t] + i, line[reach + t] + i);
            memcpy(sum + i, s, sizeof s);
        }
        float *o = out + 3 * width * (j - 2 * reach);
        const float *m = in + 3 * width * (j - reach);
        if (edge > 0.0f)
            for (long i = 0; i < 3 * width; i++) o[i] = m[i] + edge * (m[i] - sum[i]);
        else
            memcpy(o, sum, sizeof(float) * 3 * (size_t)width);
    }
    free(pad); free(ring); free(sum); free(wide); free(line);
    return 0;
}

/* A lattice of n^3 points of four floats, red slowest, read trilinearly. `at` is where the cell's
   lowest point lies, r, g and b are parts of the cell. */
typedef float four __attribute__((vector_size(16), aligned(4)));

INLINE four between(const float *at, long step, float part) {
    four low, high;
    memcpy(&low, at, sizeof low);
    memcpy(&high, at + step, sizeof high);
    return low + (high - low) * part;
}
INLINE four read_at(const float *at, long R, long G, float r, float g, float b) {
    four x = between(at, 4, b), y = between(at + G, 4, b);
    four z = between(at + R, 4, b), w = between(at + R + G, 4, b);
    x = x + (y - x) * g;
    z = z + (w - z) * g;
    return x + (z - x) * r;
}

enum { PIXELS = 64 };

/* out += (F(d + e) - F(d - e)) / 2, F the lattice, d densities, e the grain: `field`, three planes,
   times a table of densities for each layer. Places of d begin at `low`, `per` to a density; the
   table has `entries` for each layer over the same densities. No more is added or taken than there
   is to the nearer of the channel's `ends`, lowest and highest, on either side alike. */
EXPORT void lookkit_texture_add(float *out, const float *density, const int32_t *field,
    long pixels, const float *lattice, int n, float low, float per, const float *table,
    int entries, const float *ends)
{
    const float places = (float)(entries - 1) / (float)(n - 1), last = (float)(entries - 1);
    const float top = (float)(n - 1), cells = (float)(n - 2);
    const long R = 4L * n * n, G = 4L * n;
    for (long start = 0; start < pixels; start += PIXELS) {
        const long count = pixels - start < PIXELS ? pixels - start : PIXELS;
        float part[2][3][PIXELS];
        int32_t corner[2][PIXELS];
        for (int s = 0; s < 2; s++)
            for (int i = 0; i < PIXELS; i++) corner[s][i] = 0;
        for (int c = 0; c < 3; c++) {
            const int32_t step = c == 0 ? (int32_t)R : c == 1 ? (int32_t)G : 4;
            const float *t = table + c * entries;
            float places_of[PIXELS], e[PIXELS];
            for (long i = 0; i < count; i++) {
                const float d = (density[3 * (start + i) + c] - low) * per;
                float at = minimum_f(maximum_f(d * places, 0.0f), last);
                int k = (int)minimum_f(at, last - 1.0f);
                e[i] = (t[k] + (t[k + 1] - t[k]) * (at - (float)k))
                    * (float)field[c * pixels + start + i];
                places_of[i] = d;
            }
            for (int s = 0; s < 2; s++)
                for (long i = 0; i < count; i++) {
                    float at = places_of[i] + (s ? -e[i] : e[i]);
                    at = minimum_f(maximum_f(at, 0.0f), top);
                    const int32_t k = (int32_t)minimum_f(at, cells);
                    part[s][c][i] = at - (float)k;
                    corner[s][i] += k * step;
                }
        }
        for (long i = 0; i < count; i++) {
            four odd = read_at(lattice + corner[0][i], R, G, part[0][0][i], part[0][1][i],
                part[0][2][i]);
            odd -= read_at(lattice + corner[1][i], R, G, part[1][0][i], part[1][1][i],
                part[1][2][i]);
            float *o = out + 3 * (start + i);
            for (int c = 0; c < 3; c++) {
                float room = minimum_f(o[c] - ends[2 * c], ends[2 * c + 1] - o[c]);
                room = maximum_f(room, 0.0f);
                o[c] += minimum_f(maximum_f(0.5f * odd[c], -room), room);
            }
        }
    }
}
