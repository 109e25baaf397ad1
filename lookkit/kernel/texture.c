/* What texture does to bands of a picture: three planes of rows of `wide` floats, `plane` floats
   apart. `wide` is a picture's width, made up to whole vectors: a pixel is worked out by the same
   instructions wherever it stands. numpy has the same in lookkit/texture; the grain's whole
   numbers come out alike to the last bit. */

enum { LANES = 16 };

/* Sixteen floats that may lie anywhere. */
typedef float floats __attribute__((vector_size(64), aligned(4)));

INLINE floats floats_at(const float *p) { floats v; memcpy(&v, p, sizeof v); return v; }
INLINE void put_floats(float *p, floats v) { memcpy(p, &v, sizeof v); }

INLINE int32_t mirrored(long i, long length) {
    long at = i % (2 * length);
    at = at < 0 ? at + 2 * length : at;
    return (int32_t)(at < length ? at : 2 * length - 1 - at);
}

/* What is beyond the width is its last pixel again. */
INLINE void filled(float *row, long width, long wide) {
    for (long i = width; i < wide; i++) row[i] = row[width - 1];
}

/* Pixels of three floats to planes, and back. */
EXPORT void lookkit_texture_parted(const float *in, long rows, long width, float *out, long plane,
    long wide)
{
    for (long y = 0; y < rows; y++) {
        const float *p = in + 3 * width * y;
        float *restrict a = out + wide * y, *restrict b = a + plane, *restrict c = b + plane;
        for (long i = 0; i < width; i++) {
            a[i] = p[3 * i]; b[i] = p[3 * i + 1]; c[i] = p[3 * i + 2];
        }
        filled(a, width, wide); filled(b, width, wide); filled(c, width, wide);
    }
}

EXPORT void lookkit_texture_joined(const float *in, long plane, long wide, long rows, long width,
    float *out)
{
    for (long y = 0; y < rows; y++) {
        const float *a = in + wide * y, *b = a + plane, *c = b + plane;
        float *restrict p = out + 3 * width * y;
        for (long i = 0; i < width; i++) {
            p[3 * i] = a[i]; p[3 * i + 1] = b[i]; p[3 * i + 2] = c[i];
        }
    }
}

/* Three planes of 16-bit integers, 0-65535, to floats: rows of a 3x3 and an offset in `m`. */
EXPORT void lookkit_texture_from_codes(const uint16_t *const *in, long stride, long rows,
    long width, const float *m, float *out, long plane, long wide)
{
    for (long y = 0; y < rows; y++) {
        const uint16_t *p = in[0] + stride * y, *q = in[1] + stride * y, *s = in[2] + stride * y;
        for (int c = 0; c < 3; c++) {
            float *restrict o = out + plane * c + wide * y;
            const float x = m[3 * c], z = m[3 * c + 1], w = m[3 * c + 2], zero = m[9 + c];
            for (long i = 0; i < width; i++)
                o[i] = zero + x * (float)p[i] + z * (float)q[i] + w * (float)s[i];
            filled(o, width, wide);
        }
    }
}

/* Floats, times `scale` and with `offset` held in 0-1, to three planes of 16-bit integers. */
EXPORT void lookkit_texture_to_codes(const float *in, long plane, long wide, long rows,
    long width, float scale, float offset, const float *m, uint16_t *const *out, long stride)
{
    for (long y = 0; y < rows; y++) {
        const float *a = in + wide * y, *b = a + plane, *c = b + plane;
        uint16_t *restrict p = out[0] + stride * y, *restrict q = out[1] + stride * y;
        uint16_t *restrict s = out[2] + stride * y;
        for (long i = 0; i < width; i++) {
            const float r = minimum_f(maximum_f(a[i] * scale + offset, 0.0f), 1.0f);
            const float g = minimum_f(maximum_f(b[i] * scale + offset, 0.0f), 1.0f);
            const float h = minimum_f(maximum_f(c[i] * scale + offset, 0.0f), 1.0f);
            const float k = m[9] + m[0] * r + m[1] * g + m[2] * h;
            const float l = m[10] + m[3] * r + m[4] * g + m[5] * h;
            const float n = m[11] + m[6] * r + m[7] * g + m[8] * h;
            p[i] = (uint16_t)(int32_t)(minimum_f(maximum_f(k, 0.0f), 1.0f) * 65535.0f + 0.5f);
            q[i] = (uint16_t)(int32_t)(minimum_f(maximum_f(l, 0.0f), 1.0f) * 65535.0f + 0.5f);
            s[i] = (uint16_t)(int32_t)(minimum_f(maximum_f(n, 0.0f), 1.0f) * 65535.0f + 0.5f);
        }
    }
}

/* Philox4x32-10 of a row: sums of five bytes for each of three layers, around 0 (twice the sum,
   less 1275), `many` values. */
static void noise_row(float *restrict a, float *restrict b, float *restrict c, long x0,
    uint32_t y, uint32_t frame, uint32_t key0, uint32_t key1, long many)
{
    for (long i = 0; i < many; i++) {
        uint32_t c0 = (uint32_t)(x0 + i), c1 = y, c2 = frame, c3 = 0, k0 = key0, k1 = key1;
        for (int round = 0; round < 10; round++) {
            uint64_t p = (uint64_t)c0 * 0xD2511F53u, q = (uint64_t)c2 * 0xCD9E8D57u;
            c0 = (uint32_t)(q >> 32) ^ c1 ^ k0; c1 = (uint32_t)q;
            c2 = (uint32_t)(p >> 32) ^ c3 ^ k1; c3 = (uint32_t)p;
            k0 += 0x9E3779B9u; k1 += 0xBB67AE85u;
        }
        /* Two bytes at a time. */
        c0 = (c0 & 0xFF00FFu) + (c0 >> 8 & 0xFF00FFu);
        c1 = (c1 & 0xFF00FFu) + (c1 >> 8 & 0xFF00FFu);
        c2 = (c2 & 0xFF00FFu) + (c2 >> 8 & 0xFF00FFu);
        a[i] = (float)(int32_t)(2 * ((c0 & 0xFFFF) + (c0 >> 16) + (c3 & 255)) - 1275);
        b[i] = (float)(int32_t)(2 * ((c1 & 0xFFFF) + (c1 >> 16) + (c3 >> 8 & 255)) - 1275);
        c[i] = (float)(int32_t)(2 * ((c2 & 0xFFFF) + (c2 >> 16) + (c3 >> 16 & 255)) - 1275);
    }
}

/* The grain field of rows y0 ... and columns x0 ..., three planes. `across` and `down` have
   reach + 1 whole numbers for each layer, the middle first. All are whole numbers that floats hold
   exactly, so that no order of sums changes a bit. Returns -1 without memory. */
EXPORT int lookkit_texture_grain(float *out, long plane, long wide, long rows, long x0, long y0,
    uint32_t frame, uint32_t key0, uint32_t key1, const float *across, int reach_x,
    const float *down, int reach_y)
{
    const long n = 2 * reach_y + 1, many = wide + 2 * reach_x;
    float *raw = malloc(sizeof(float) * 3 * (size_t)many);
    float *ring = malloc(sizeof(float) * 3 * (size_t)(n * wide));
    if (!raw || !ring) { free(raw); free(ring); return -1; }
    for (long j = 0; j < rows + 2 * reach_y; j++) {
        noise_row(raw, raw + many, raw + 2 * many, x0 - reach_x, (uint32_t)(y0 + j - reach_y),
            frame, key0, key1, many);
        for (int c = 0; c < 3; c++) {
            const float *q = raw + c * many + reach_x, *tap = across + c * (reach_x + 1);
            float *d = ring + ((j % n) * 3 + c) * wide;
            for (long i = 0; i < wide; i += LANES) {
                floats s = tap[0] * floats_at(q + i);
                for (int t = 1; t <= reach_x; t++)
                    s += tap[t] * (floats_at(q + i - t) + floats_at(q + i + t));
                put_floats(d + i, s);
            }
            for (long i = 0; i < wide; i++) d[i] = floorf(d[i] * (1.0f / 256.0f) + 0.5f);
        }
        if (j < 2 * reach_y) continue;
        for (int c = 0; c < 3; c++) {
            const float *tap = down + c * (reach_y + 1);
            float *o = out + c * plane + (j - 2 * reach_y) * wide;
            const float *mid = ring + (((j - reach_y) % n) * 3 + c) * wide;
            for (long i = 0; i < wide; i += LANES) {
                floats s = tap[0] * floats_at(mid + i);
                for (int t = 1; t <= reach_y; t++) {
                    const float *above = ring + (((j - reach_y - t) % n) * 3 + c) * wide;
                    const float *below = ring + (((j - reach_y + t) % n) * 3 + c) * wide;
                    s += tap[t] * (floats_at(above + i) + floats_at(below + i));
                }
                put_floats(o + i, s);
            }
        }
    }
    free(raw); free(ring);
    return 0;
}

INLINE void by_columns(const float *line, float *out, long low, long by, float share) {
    for (long x = 0; x < low; x++) {
        float sum = 0.0f;
        for (long b = 0; b < by; b++) sum += line[x * by + b];
        out[x] = share * sum;
    }
}

/* Means of boxes of `high` x `broad` pixels; what a box lacks at the right and below is the last
   column and row again. Rows of `out` are
   `out_wide` numbers apart. Returns -1 without memory. */
EXPORT int lookkit_texture_box(const float *in, long plane, long wide, long rows, long width,
    long high, long broad, float *out, long out_plane, long out_wide, long low_rows)
{
    const long low = (width + broad - 1) / broad, many = low * broad;
    const float share = 1.0f / ((float)high * (float)broad);
    float *line = malloc(sizeof(float) * (size_t)(many > wide ? many : wide));
    if (!line) return -1;
    for (int c = 0; c < 3; c++)
        for (long y = 0; y < low_rows; y++) {
            for (long a = 0; a < high; a++) {
                const long at = y * high + a < rows ? y * high + a : rows - 1;
                const float *row = in + plane * c + wide * at;
                for (long i = 0; i < wide; i += LANES)
                    put_floats(line + i, a ? floats_at(line + i) + floats_at(row + i)
                                           : floats_at(row + i));
            }
            filled(line, width, many);
            float *o = out + out_plane * c + out_wide * y;
            switch (broad) {
            case 1: by_columns(line, o, low, 1, share); break;
            case 2: by_columns(line, o, low, 2, share); break;
            case 4: by_columns(line, o, low, 4, share); break;
            case 8: by_columns(line, o, low, 8, share); break;
            default: by_columns(line, o, low, broad, share);
            }
            filled(o, low, out_wide);
        }
    free(line);
    return 0;
}

/* out = in + share (low - in), `low` read between its points; `out` may be `in`. Row 0 of `in` is
   row y0 of the picture; row 0 of `low` is its row `first`, of `low_rows` that there are. Boxes
   are `high` x `broad` pixels; low's rows are `low_wide` numbers apart. Returns -1 without memory. */
EXPORT int lookkit_texture_spread(const float *in, long plane, float *out, long out_plane,
    long wide, long rows, long y0, long high, long broad, const float *low, long low_plane,
    long low_wide, long points_of_row, long first, long low_rows, const float *share)
{
    int32_t *left = malloc(sizeof(int32_t) * (size_t)wide);
    float *part = malloc(sizeof(float) * (size_t)wide);
    float *lines = malloc(sizeof(float) * 2 * (size_t)wide);
    float *points = malloc(sizeof(float) * (size_t)(points_of_row + 2));
    if (!left || !part || !lines || !points) {
        free(left); free(part); free(lines); free(points);
        return -1;
    }
    for (long i = 0; i < wide; i++) {
        const float u = ((float)i + 0.5f) / (float)broad - 0.5f, at = floorf(u);
        left[i] = (int32_t)minimum_f(at + 1.0f, (float)points_of_row);
        part[i] = u - at;
    }
    for (int c = 0; c < 3; c++) {
        const float s = share[c], keep = 1.0f - s;
        long held[2] = {-1, -1};
        for (long j = 0; j < rows; j++) {
            const float *row = in + plane * c + wide * j;
            float *o = out + out_plane * c + wide * j;
            if (s == 0.0f) {
                if (o != row) memcpy(o, row, sizeof(float) * (size_t)wide);
                continue;
            }
            const float v = ((float)(y0 + j) + 0.5f) / (float)high - 0.5f, top = floorf(v);
            const floats down = (v - top) - (floats){0};
            for (long k = 0; k < 2; k++) {
                long at = (long)top + k - first;
                at = at < 0 ? 0 : at < low_rows ? at : low_rows - 1;
                if (held[at & 1] == at) continue;
                held[at & 1] = at;
                float *restrict line = lines + (at & 1) * wide;
                memcpy(points + 1, low + low_plane * c + low_wide * at,
                    sizeof(float) * (size_t)points_of_row);
                points[0] = points[1];
                points[points_of_row + 1] = points[points_of_row];
                for (long i = 0; i < wide; i++) {
                    const float a = points[left[i]], b = points[left[i] + 1];
                    line[i] = s * (a + (b - a) * part[i]);
                }
            }
            long above = (long)top - first, below = above + 1;
            above = above < 0 ? 0 : above < low_rows ? above : low_rows - 1;
            below = below < 0 ? 0 : below < low_rows ? below : low_rows - 1;
            const float *a = lines + (above & 1) * wide, *b = lines + (below & 1) * wide;
            for (long i = 0; i < wide; i += LANES) {
                const floats x = floats_at(a + i);
                put_floats(o + i, floats_at(row + i) * keep
                    + (x + (floats_at(b + i) - x) * down));
            }
        }
    }
    free(left); free(part); free(lines); free(points);
    return 0;
}

/* A symmetric filter down and across, its own for each plane. `in` has rows + 2 reach_y rows,
   `out` rows. `down` and `across` have reach + 1 taps for each plane, the middle first. Columns
   are mirrored at both ends. Returns -1 without memory. */
EXPORT int lookkit_texture_blur(const float *in, long plane, float *out, long out_plane, long wide,
    long rows, long width, const float *down, int reach_y, const float *across, int reach_x)
{
    const size_t room = (size_t)(wide + 2L * reach_x + LANES);
    float *pad = calloc(room, sizeof(float));
    if (!pad) return -1;
    float *line = pad + reach_x;
    for (int c = 0; c < 3; c++) {
        const float *d = down + c * (reach_y + 1), *x = across + c * (reach_x + 1);
        for (long j = 0; j < rows; j++) {
            const float *mid = in + plane * c + wide * (j + reach_y);
            float *o = out + out_plane * c + wide * j;
            for (long i = 0; i < wide; i += LANES) {
                floats s = d[0] * floats_at(mid + i);
                for (int t = 1; t <= reach_y; t++)
                    s += d[t] * (floats_at(mid + i - t * wide) + floats_at(mid + i + t * wide));
                put_floats(line + i, s);
            }
            for (long k = 1; k <= reach_x; k++) {
                line[-k] = line[mirrored(-k, width)];
                line[width - 1 + k] = line[mirrored(width - 1 + k, width)];
            }
            for (long i = 0; i < wide; i += LANES) {
                floats s = x[0] * floats_at(line + i);
                for (int t = 1; t <= reach_x; t++)
                    s += x[t] * (floats_at(line + i - t) + floats_at(line + i + t));
                put_floats(o + i, s);
            }
        }
    }
    free(pad);
    return 0;
}

typedef float four __attribute__((vector_size(16), aligned(16)));

enum { PIXELS = 64 };

struct reading {
    int32_t start[PIXELS], first[PIXELS], second[PIXELS];
    float w0[PIXELS], w1[PIXELS], w2[PIXELS], w3[PIXELS];
};

/* Where places of the lattice lie, for `tetrahedron`. */
INLINE void find_places(struct reading *restrict p, const float *restrict r,
    const float *restrict g, const float *restrict b, float top, int32_t R, int32_t G)
{
    for (int i = 0; i < PIXELS; i++) {
        float x = minimum_f(maximum_f(r[i], 0.0f), top);
        float y = minimum_f(maximum_f(g[i], 0.0f), top);
        float z = minimum_f(maximum_f(b[i], 0.0f), top);
        const int32_t i0 = (int32_t)minimum_f(x, top - 1.0f);
        const int32_t i1 = (int32_t)minimum_f(y, top - 1.0f);
        const int32_t i2 = (int32_t)minimum_f(z, top - 1.0f);
        x -= (float)i0; y -= (float)i1; z -= (float)i2;
        const float most = maximum_f(maximum_f(x, y), z), least = minimum_f(minimum_f(x, y), z);
        const float middle = maximum_f(minimum_f(x, y), minimum_f(maximum_f(x, y), z));
        const int32_t up = x == most ? R : y == most ? G : 1;
        const int32_t back = z == least ? 1 : y == least ? G : R;
        p->start[i] = i0 * R + i1 * G + i2;
        p->first[i] = p->start[i] + up;
        p->second[i] = p->start[i] + R + G + 1 - back;
        p->w0[i] = 1.0f - most;
        p->w1[i] = most - middle;
        p->w2[i] = middle - least;
        p->w3[i] = least;
    }
}

/* The lattice, points of four floats, read by the tetrahedra that share a cell's diagonal. */
INLINE four tetrahedron(const four *points, const struct reading *p, int i, int32_t all) {
    const four *cell = points + p->start[i];
    return cell[0] * p->w0[i] + points[p->first[i]] * p->w1[i]
        + points[p->second[i]] * p->w2[i] + cell[all] * p->w3[i];
}

/* out += (F(d + e) - F(d - e)) / 2, F the lattice of n^3 points, red slowest, d densities, e the
   grain: `field` times a table of densities for each layer. Places of d begin at `low`, `per` to a
   density; the table has `entries` for each layer over the same densities. No more is added or
   taken than there is to the nearer of the channel's `ends`, lowest and highest, on either side
   alike. `many` pixels of planes, a multiple of LANES. */
EXPORT void lookkit_texture_add(float *out, long plane, const float *density, long density_plane,
    const float *field, const int32_t *layers, long field_plane, long many, const float *lattice,
    int n, float low, float per, const float *table, int entries, const float *ends)
{
    const float places = (float)(entries - 1) / (float)(n - 1), last = (float)(entries - 1);
    const float top = (float)(n - 1);
    const int32_t R = n * n, G = n, all = R + G + 1;
    const four *points = (const four *)lattice;
    float more[3][PIXELS] = {{0}}, less[3][PIXELS] = {{0}};
    float odd[3][PIXELS];
    struct reading p, q;
    for (long start = 0; start < many; start += PIXELS) {
        const int count = (int)(many - start < PIXELS ? many - start : PIXELS);
        for (int c = 0; c < 3; c++) {
            const float *t = table + c * entries, *from = density + density_plane * c + start;
            const float *by = field + field_plane * layers[c] + start;
            for (int i = 0; i < count; i++) {
                const float d = (from[i] - low) * per;
                const float at = minimum_f(maximum_f(d * places, 0.0f), last);
                const int32_t k = (int32_t)minimum_f(at, last - 1.0f);
                const float e = (t[k] + (t[k + 1] - t[k]) * (at - (float)k)) * by[i];
                more[c][i] = d + e;
                less[c][i] = d - e;
            }
        }
        find_places(&p, more[0], more[1], more[2], top, R, G);
        find_places(&q, less[0], less[1], less[2], top, R, G);
        for (int i = 0; i < count; i++) {
            const four v = tetrahedron(points, &p, i, all) - tetrahedron(points, &q, i, all);
            odd[0][i] = v[0]; odd[1][i] = v[1]; odd[2][i] = v[2];
        }
        for (int c = 0; c < 3; c++) {
            float *o = out + plane * c + start;
            const float least = ends[2 * c], most = ends[2 * c + 1];
            for (int i = 0; i < count; i++) {
                const float room = maximum_f(minimum_f(o[i] - least, most - o[i]), 0.0f);
                o[i] += minimum_f(maximum_f(0.5f * odd[c][i], -room), room);
            }
        }
    }
}
