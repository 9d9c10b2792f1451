#include "procedures/measures/outputs.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

const char *const es_no_facts[] = {NULL};

void es_outputs_start(const struct es_measure_output *rows, size_t count, enum es_dimension of_channel,
                      enum es_role role, struct es_measured *out)
{
    for (size_t o = 0; o < count; o++) {
        enum es_dimension own = rows[o].dimension;
        es_measured_start(&out[o], rows[o].name, own == ES_DIM_COUNT ? of_channel : own);
        out[o].role = role;
    }
}

void es_outputs_refuse(struct es_measured *out, size_t first, size_t end, const char *format, ...)
{
    char text[sizeof out->reason];
    va_list args;
    va_start(args, format);
    // NOLINTNEXTLINE(clang-analyzer-valist.Uninitialized): a false alarm of clang 14, va_start is above
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    for (size_t o = first; o < end; o++)
        es_measured_refuse(&out[o], "%s", text);
}

void es_outputs_from(struct es_measured *out, size_t first, size_t end, size_t sample, size_t last_sample)
{
    for (size_t o = first; o < end; o++) {
        out[o].first = sample;
        out[o].last = last_sample;
    }
}

enum es_dimension es_channel_dimension(const struct es_trace *trace, enum es_role role)
{
    const struct es_series *series = es_trace_series(trace, role);
    return series ? series->dimension : es_role_info(role)->dimension;
}

double es_rate_any(const void *settings, size_t output, double tolerance)
{
    (void)settings, (void)output, (void)tolerance;
    return 0;
}

double es_rate_of_time(double tolerance)
{
    return isfinite(tolerance) && tolerance > 0 ? 20 / tolerance : 0;
}

double es_expected_level_u(const struct es_channel_uncertainty *u, double offset_share, double reading)
{
    if (!u)
        return NAN;
    double u_calibration = hypot(offset_share * u->offset, u->gain * reading);
    return hypot(u_calibration, hypot(u->repeatability, es_resolution_u(u->resolution, 0)));
}
