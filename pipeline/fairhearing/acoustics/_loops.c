/* Loops over the samples of one or two channels. The numbers are those of _plain_loops.py.
 *
 * Sums are made in lanes whose number and order stand here, and no product is joined with a sum: the bits hang neither
 * on the machine nor on where a stream was cut. Arrays are contiguous; lengths are checked by _loops.py.
 */

#include <stdint.h>
#include <string.h>

#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && defined(__linux__)
#define FOR_EACH_MACHINE __attribute__((target_clones("default", "avx2")))
#else
#define FOR_EACH_MACHINE
#endif

#define LANES 4
#define RUN 480
#define ROUNDED (1.0 + 1e-9) /* more than what rounding takes from a bound */

typedef double both __attribute__((vector_size(16))); /* two channels */
typedef double many __attribute__((vector_size(8 * LANES)));
typedef int64_t bits_of_many __attribute__((vector_size(8 * LANES)));
typedef double many_anywhere __attribute__((vector_size(8 * LANES), aligned(8), may_alias));

#define FROM(place) (*(const many_anywhere *)(place))

static int64_t magnitude(double value)
{
    /* As whole numbers magnitudes have the order of their bits, and what is no number is the largest. */
    int64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits & INT64_MAX;
}

static double of_bits(int64_t bits)
{
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

/* Mean squares of two channels after two sections of the second order (transposed direct form II), block by block. */
FOR_EACH_MACHINE
void energies(const double *one, const double *other, int64_t n, const double *sections, double *state, double *sums,
              int64_t n_summed, int64_t n_frames, double *energy)
{
    const double b0 = sections[0], b1 = sections[1], b2 = sections[2], a1 = sections[4], a2 = sections[5];
    const double e0 = sections[6], e1 = sections[7], e2 = sections[8], g1 = sections[10], g2 = sections[11];
    both s0 = {state[0], state[4]}, s1 = {state[1], state[5]}, t0 = {state[2], state[6]}, t1 = {state[3], state[7]};
    both sum = {sums[0], sums[1]};
    for (int64_t at = 0; at < n;) {
        int64_t end = at + n_frames - n_summed < n ? at + n_frames - n_summed : n;
        n_summed += end - at;
        for (; at < end; at++) {
            both x = {one[at], other[at]};
            both y = b0 * x + s0;
            s0 = (b1 * x + s1) - a1 * y;
            s1 = b2 * x - a2 * y;
            both z = e0 * y + t0;
            t0 = (e1 * y + t1) - g1 * z;
            t1 = e2 * y - g2 * z;
            sum += z * z;
        }
        if (n_summed == n_frames) {
            *energy++ = sum[0] / (double)n_frames;
            *energy++ = sum[1] / (double)n_frames;
            sum = (both){0.0, 0.0};
            n_summed = 0;
        }
    }
    for (int channel = 0; channel < 2; channel++) {
        state[4 * channel] = s0[channel], state[4 * channel + 1] = s1[channel];
        state[4 * channel + 2] = t0[channel], state[4 * channel + 3] = t1[channel];
        sums[channel] = sum[channel];
    }
}

static inline __attribute__((always_inline)) double sum_of(many lanes)
{
    return (lanes[0] + lanes[2]) + (lanes[1] + lanes[3]);
}

static inline __attribute__((always_inline)) many chosen(bits_of_many where, many one, many other)
{
    return (many)(((bits_of_many)one & where) | ((bits_of_many)other & ~where));
}

static inline __attribute__((always_inline)) bits_of_many magnitudes(many values)
{
    return (bits_of_many)values & INT64_MAX;
}

static inline __attribute__((always_inline)) bits_of_many larger(bits_of_many one, bits_of_many other)
{
    bits_of_many where = one > other;
    return (one & where) | (other & ~where);
}

static inline __attribute__((always_inline)) int64_t largest_of(bits_of_many lanes)
{
    int64_t found = lanes[0];
    for (int lane = 1; lane < LANES; lane++)
        found = lanes[lane] > found ? lanes[lane] : found;
    return found;
}

/* Sum, sum of squares, highest and lowest of each block. */
FOR_EACH_MACHINE
void levels(const double *values, int64_t n_blocks, int64_t n, double *found)
{
    for (int64_t block = 0; block < n_blocks; block++, values += n) {
        many total = {0}, squares = {0}, highest = total + values[0], lowest = highest;
        int64_t at = 0;
        for (; at + LANES <= n; at += LANES) {
            many here = FROM(values + at);
            total += here;
            squares += here * here;
            highest = chosen(here > highest, here, highest);
            lowest = chosen(here < lowest, here, lowest);
        }
        for (; at < n; at++) {
            total[0] += values[at];
            squares[0] += values[at] * values[at];
            highest[0] = values[at] > highest[0] ? values[at] : highest[0];
            lowest[0] = values[at] < lowest[0] ? values[at] : lowest[0];
        }
        for (int lane = 1; lane < LANES; lane++) {
            highest[0] = highest[lane] > highest[0] ? highest[lane] : highest[0];
            lowest[0] = lowest[lane] < lowest[0] ? lowest[lane] : lowest[0];
        }
        found[block] = sum_of(total);
        found[n_blocks + block] = sum_of(squares);
        if (found[n_blocks + block] != found[n_blocks + block]) /* a sample is no number: comparisons lose it */
            highest[0] = lowest[0] = found[n_blocks + block];
        found[2 * n_blocks + block] = highest[0];
        found[3 * n_blocks + block] = lowest[0];
    }
}

static void raise(double *peak, double value)
{
    if (!(value <= *peak) && *peak == *peak) /* what is no number stays */
        *peak = value;
}

/* Largest magnitude of n values that taps make of n + n_taps - 1. */
static inline __attribute__((always_inline)) int64_t highest_point(const double *values, int64_t n, const double *taps, int64_t n_taps)
{
    bits_of_many high = {0};
    int64_t at = 0, found;
    for (; at + 2 * LANES <= n; at += 2 * LANES) {
        many here = {0}, there = {0};
        for (int64_t tap = 0; tap < n_taps; tap++) {
            here += taps[tap] * FROM(values + at + tap);
            there += taps[tap] * FROM(values + at + tap + LANES);
        }
        high = larger(magnitudes(here), larger(magnitudes(there), high));
    }
    for (found = largest_of(high); at < n; at++) {
        double here = 0.0;
        for (int64_t tap = 0; tap < n_taps; tap++)
            here += taps[tap] * values[at + tap];
        found = magnitude(here) > found ? magnitude(here) : found;
    }
    return found;
}

/* Raise the largest sample (peaks[0]) and the largest point of the wave (peaks[1]) of all waves that lie within the
 * values; runs that cannot hold it are passed over. */
FOR_EACH_MACHINE
void raise_peaks(const double *values, int64_t n, const double *taps, int64_t n_points, int64_t n_taps, double chord,
                 double bend, double *peaks)
{
    int64_t n_waves = n - n_taps + 1, middle = n_taps / 2 - 1;
    for (int64_t begin = 0; begin < n_waves; begin += RUN) {
        int64_t n_run = n_waves - begin < RUN ? n_waves - begin : RUN, highest = 0, bent = 0;
        const double *run = values + begin;
        /* The first of the two samples that each point lies between, and the one after the last. */
        bits_of_many high = {0}, bend_here = {0};
        int64_t at = middle, end = middle + n_run + 1;
        for (; at + LANES <= end; at += LANES)
            high = larger(magnitudes(FROM(run + at)), high);
        for (highest = largest_of(high); at < end; at++)
            highest = magnitude(run[at]) > highest ? magnitude(run[at]) : highest;
        for (at = 0, end = n_run + n_taps - 3; at + LANES <= end; at += LANES)
            bend_here = larger(magnitudes((FROM(run + at) - 2.0 * FROM(run + at + 1)) + FROM(run + at + 2)), bend_here);
        for (bent = largest_of(bend_here); at < end; at++) {
            int64_t found = magnitude((run[at] - 2.0 * run[at + 1]) + run[at + 2]);
            bent = found > bent ? found : bent;
        }
        raise(&peaks[0], of_bits(highest));
        raise(&peaks[1], of_bits(highest));
        if ((chord * of_bits(highest) + bend * of_bits(bent)) * ROUNDED <= peaks[1])
            continue;
        for (int64_t point = 0; point < n_points; point++) {
            highest = highest_point(run, n_run, taps + point * n_taps, n_taps);
            raise(&peaks[1], of_bits(highest));
        }
    }
}

/* Every so many values of the filtered ones. */
FOR_EACH_MACHINE
void every(const double *values, const double *taps, int64_t n_taps, int64_t factor, int64_t n_found, double *found)
{
    for (int64_t index = 0; index < n_found; index++, values += factor) {
        many sum[4] = {0}; /* four, none of which waits for another */
        int64_t tap = 0;
        for (; tap + 4 * LANES <= n_taps; tap += 4 * LANES)
            for (int of = 0; of < 4; of++)
                sum[of] += FROM(taps + tap + of * LANES) * FROM(values + tap + of * LANES);
        for (; tap + LANES <= n_taps; tap += LANES)
            sum[0] += FROM(taps + tap) * FROM(values + tap);
        double rest = 0.0;
        for (; tap < n_taps; tap++)
            rest += taps[tap] * values[tap];
        found[index] = sum_of((sum[0] + sum[1]) + (sum[2] + sum[3])) + rest;
    }
}

FOR_EACH_MACHINE
double total(const double *values, int64_t n)
{
    many sum = {0};
    int64_t at = 0;
    for (; at + LANES <= n; at += LANES)
        sum += FROM(values + at);
    for (; at < n; at++)
        sum[0] += values[at];
    return sum_of(sum);
}

/* Add the squared magnitudes of n complex numbers of single precision, so many times over, to n sums. */
FOR_EACH_MACHINE
void add_squares(const float *parts, int64_t n_times, int64_t n, double *sums)
{
    for (; n_times > 0; n_times--, parts += 2 * n)
        for (int64_t at = 0; at < n; at++) {
            double real = parts[2 * at], imaginary = parts[2 * at + 1];
            sums[at] += real * real + imaginary * imaginary;
        }
}

/* Samples of 24 bits, little-endian and interleaved, apart and over 2^23. One byte that is not looked at must stand
 * before the first: each sample is read as the upper three of four bytes, so that it has its sign. */
FOR_EACH_MACHINE
void take_apart(const unsigned char *before, int64_t n_frames, int64_t n_channels, int64_t stride, double *found)
{
    for (int64_t frame = 0; frame < n_frames; frame++)
        for (int64_t channel = 0; channel < n_channels; channel++, before += 3) {
            int32_t upper;
            memcpy(&upper, before, sizeof upper);
            found[channel * stride + frame] = (double)(upper & -256) * 0x1p-31;
        }
}
