#include "procedures/measures/trace.h"

#include <math.h>
#include <stdlib.h>

void es_trace_free(struct es_trace *trace)
{
    if (!trace)
        return;
    for (size_t i = 0; i < trace->series_count; i++) {
        free(trace->series[i].t);
        free(trace->series[i].y);
        free(trace->series[i].quality);
    }
    free(trace->series);
    free(trace->commands);
    free(trace->name);
    free(trace->unfit);
    free(trace);
}

const struct es_series *es_trace_series(const struct es_trace *trace, enum es_role role)
{
    if (!trace)
        return NULL;
    for (size_t i = 0; i < trace->series_count; i++)
        if (trace->series[i].role == role)
            return &trace->series[i];
    return NULL;
}

bool es_at_end(const struct es_series *series, double y)
{
    if (!(series->low < series->high))
        return false;
    const double near = fmax(series->u.resolution, 1e-3 * (series->high - series->low));
    return y <= series->low + near || y >= series->high - near;
}
