/* One channel's way from the raw number to a value with quality, and back. */
#include <math.h>

#include "rig/bench/bench.h"

/* NAMUR NE 43 (from memory): 3.8 to 20.5 mA carries the value, up to 3.6 and from 21.0 mA tells a failure. */
#define LOOP_LIVE_LOW  3.8e-3
#define LOOP_LIVE_HIGH 20.5e-3
#define LOOP_FAIL_LOW  3.6e-3
#define LOOP_FAIL_HIGH 21.0e-3
#define LOOP_HAIR      1e-9 /* a current on a limit is on its far side, whatever the rounding */
#define LOOP_ZERO      4e-3
#define LOOP_SPAN      16e-3

#define RANGE_MARGIN 0.005 /* of the plausible range: an instrument of unknown range stops inside it */

/* Index i of the piece x[i]..x[i+1] that holds `at`; x strictly monotonic, count at least 2. */
static size_t piece(const double *x, size_t count, double at)
{
    bool rising = x[count - 1] > x[0];
    size_t low = 0, high = count - 1;
    while (high - low > 1) {
        size_t mid = (low + high) / 2;
        if ((x[mid] <= at) == rising) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return low;
}

static double along(const double *x, const double *y, size_t count, double at)
{
    size_t i = piece(x, count, at);
    return y[i] + (y[i + 1] - y[i]) * ((at - x[i]) / (x[i + 1] - x[i]));
}

static bool inside(const double *x, size_t count, double at)
{
    double a = x[0], b = x[count - 1];
    return a < b ? at >= a && at <= b : at <= a && at >= b;
}

static double correction(const struct es_calibration *cal, double reading)
{
    size_t n = cal->point_count;
    if (n == 0) {
        return 0;
    }
    if (n == 1 || reading <= cal->readings[0]) {
        return cal->corrections[0];
    }
    if (reading >= cal->readings[n - 1]) {
        return cal->corrections[n - 1];
    }
    return along(cal->readings, cal->corrections, n, reading);
}

/* The reading whose corrected value is `value`; the reader made sure that there is only one. */
static double uncorrected(const struct es_calibration *cal, double value)
{
    size_t n = cal->point_count;
    if (n == 0) {
        return value;
    }
    if (n == 1 || value <= cal->readings[0] + cal->corrections[0]) {
        return value - cal->corrections[0];
    }
    if (value >= cal->readings[n - 1] + cal->corrections[n - 1]) {
        return value - cal->corrections[n - 1];
    }
    size_t low = 0, high = n - 1;
    while (high - low > 1) {
        size_t mid = (low + high) / 2;
        if (cal->readings[mid] + cal->corrections[mid] <= value) {
            low = mid;
        } else {
            high = mid;
        }
    }
    double a = cal->readings[low], b = cal->readings[high];
    double fa = a + cal->corrections[low], fb = b + cal->corrections[high];
    return a + (b - a) * ((value - fa) / (fb - fa));
}

static const struct es_unit *scale_unit(const struct es_bench_channel *c)
{
    static const struct es_unit milliampere = {"mA", ES_DIM_CURRENT, 1e-3, 0, NULL};
    return c->current_signal ? &milliampere : c->unit;
}

/* NE 43 on a loop current; the value that it stands for in *value. */
static enum es_quality from_loop(const struct es_bench_channel *c, double current, double *value)
{
    if (current <= LOOP_FAIL_LOW + LOOP_HAIR || current >= LOOP_FAIL_HIGH - LOOP_HAIR) {
        return ES_FAILED;
    }
    if (current < LOOP_LIVE_LOW - LOOP_HAIR || current > LOOP_LIVE_HIGH + LOOP_HAIR) {
        return ES_OUT_OF_RANGE;
    }
    *value = c->signal_low + (c->signal_high - c->signal_low) * ((current - LOOP_ZERO) / LOOP_SPAN);
    return ES_GOOD;
}

static double to_loop(const struct es_bench_channel *c, double value)
{
    return LOOP_ZERO + LOOP_SPAN * ((value - c->signal_low) / (c->signal_high - c->signal_low));
}

enum es_quality es_channel_reading(const struct es_bench_channel *c, struct es_raw raw, double *reading)
{
    if (!raw.valid || !isfinite(raw.value)) {
        return ES_FAILED;
    }
    double written;
    if (c->scale == ES_SCALE_TABLE) {
        if (!inside(c->table_raw, c->table_count, raw.value)) {
            return ES_OUT_OF_RANGE;
        }
        written = along(c->table_raw, c->table_written, c->table_count, raw.value);
    } else {
        written = raw.value * c->factor + c->offset;
    }
    double v = es_from_unit(written, scale_unit(c));
    if (c->current_signal) {
        return from_loop(c, v, reading);
    }
    *reading = v;
    return ES_GOOD;
}

enum es_quality es_channel_judge(const struct es_bench_channel *c, double reading, double *value)
{
    double v = reading;
    if (c->current_signal) {
        double unused;
        enum es_quality q = from_loop(c, to_loop(c, reading), &unused);
        if (q != ES_GOOD) {
            return q;
        }
    }
    v += correction(&c->calibration, v);
    if (!isfinite(v) || v < c->plausible_low || v > c->plausible_high) {
        return ES_OUT_OF_RANGE;
    }
    if (c->state && v != 0 && v != 1) {
        return ES_OUT_OF_RANGE; /* neither off nor on */
    }
    *value = v;
    return ES_GOOD;
}

enum es_quality es_channel_value(const struct es_bench_channel *c, struct es_raw raw, double *value)
{
    double reading;
    enum es_quality q = es_channel_reading(c, raw, &reading);
    return q == ES_GOOD ? es_channel_judge(c, reading, value) : q;
}

double es_channel_uncorrected(const struct es_bench_channel *c, double value)
{
    return uncorrected(&c->calibration, value);
}

enum es_status es_channel_reading_raw(const struct es_bench_channel *c, double reading, double *raw,
                                      struct es_error *err)
{
    double written = es_to_unit(c->current_signal ? to_loop(c, reading) : reading, scale_unit(c));
    if (c->scale == ES_SCALE_TABLE) {
        if (!inside(c->table_written, c->table_count, written)) {
            char text[64];
            es_quantity_format(reading, c->unit, 4, text, sizeof text);
            return es_fail(err, ES_RANGE, "%s is outside the table of the channel \"%s\"", text,
                           es_role_info(c->role)->name);
        }
        *raw = along(c->table_written, c->table_raw, c->table_count, written);
        return ES_OK;
    }
    *raw = (written - c->offset) / c->factor;
    return ES_OK;
}

enum es_status es_channel_raw(const struct es_bench_channel *c, double value, double *raw,
                              struct es_error *err)
{
    return es_channel_reading_raw(c, uncorrected(&c->calibration, value), raw, err);
}

bool es_channel_range(const struct es_bench_channel *c, double *low, double *high)
{
    double a = c->range_low, b = c->range_high;
    if (!(a < b) && c->current_signal) {
        const double per_ampere = (c->signal_high - c->signal_low) / LOOP_SPAN;
        a = c->signal_low + per_ampere * (LOOP_LIVE_LOW - LOOP_ZERO);
        b = c->signal_low + per_ampere * (LOOP_LIVE_HIGH - LOOP_ZERO);
    } else if (!(a < b)) {
        const double margin = RANGE_MARGIN * (c->plausible_high - c->plausible_low);
        a = c->plausible_low + margin;
        b = c->plausible_high - margin;
    }
    if (c->state || !isfinite(a) || !isfinite(b) || a == b) {
        return false;
    }
    *low = fmin(a, b);
    *high = fmax(a, b);
    return true;
}

struct es_channel_uncertainty es_channel_uncertainty(const struct es_bench_channel *c)
{
    const struct es_calibration *cal = &c->calibration;
    double u_cal = cal->number ? cal->U_offset / cal->k : 0;
    double u_gain = cal->number ? cal->U_gain / cal->k : 0;
    double offset = hypot(u_cal, c->u_further);
    /* JCGM 100 G.4.1: only the calibration's part has stated degrees of freedom; the further contributions
     * are taken as well known (rectangular bounds turned into standard uncertainties). */
    double dof = INFINITY;
    if (isfinite(cal->dof) && u_cal > 0) {
        dof = cal->dof * pow(offset / u_cal, 4);
    } else if (isfinite(cal->dof) && u_gain > 0) {
        dof = cal->dof;
    }
    return (struct es_channel_uncertainty){.offset = offset,
                                           .gain = u_gain,
                                           .dof = dof,
                                           .resolution = c->resolution,
                                           .refresh = c->refresh,
                                           .lag = c->lag,
                                           .repeatability = c->repeatability};
}
