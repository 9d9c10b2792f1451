#include "rig/client/recording_csv.h"

#include <math.h>
#include <stdlib.h>

#include "procedures/measures/csv_notes.h"

/* What a reader needs beside the samples to measure again: csv_notes.h. */
static void write_notes(const struct es_trace *trace, FILE *to)
{
    fprintf(to, ES_CSV_NOTE_RECORDING " %.17g\n", trace->duration);
    for (size_t i = 0; i < trace->command_count; i++) {
        const struct es_command *c = &trace->commands[i];
        fprintf(to, ES_CSV_NOTE_WRITE " %s; %.17g; %.17g; ", es_role_info(c->role)->name, c->t, c->u_t);
        if (isfinite(c->from))
            fprintf(to, "%.17g; ", c->from);
        else
            fputs("-; ", to);
        fprintf(to, "%.17g\n", c->to);
    }
}

/* The units of gas flow mean nothing without their reference state. */
static void write_conditions(const struct es_trace *trace, FILE *to)
{
    for (size_t i = 0; i < trace->series_count; i++) {
        const struct es_unit *unit = es_dimension_unit(trace->series[i].dimension);
        if (unit->conditions != NULL)
            fprintf(to, "# %s: %s at %s\n", es_role_info(trace->series[i].role)->name, unit->name,
                    unit->conditions);
    }
}

static void write_head(const struct es_trace *trace, FILE *to)
{
    fputs("t/s", to);
    for (size_t i = 0; i < trace->series_count; i++)
        fprintf(to, ",%s/%s", es_role_info(trace->series[i].role)->name,
                es_dimension_unit(trace->series[i].dimension)->name);
    fputc('\n', to);
}

/* The earliest time that no row has shown yet; NAN after the last. */
static double next_time(const struct es_trace *trace, const size_t *at)
{
    double t = NAN;
    for (size_t i = 0; i < trace->series_count; i++)
        if (at[i] < trace->series[i].count)
            t = fmin(t, trace->series[i].t[at[i]]);
    return t;
}

/* As few digits as give the same number back: the reader applies the unit's factor before it rounds. */
static void write_value(double y, const struct es_unit *unit, FILE *to)
{
    long double factor = unit->factor, offset = unit->offset, written = ((long double)y - offset) / factor;
    char text[64];
    for (int digits = 15; digits <= 21; digits += 2) {
        (void)snprintf(text, sizeof text, "%.*Lg", digits, written);
        if ((double)(strtold(text, NULL) * factor + offset) == y)
            break;
    }
    fputs(text, to);
}

/* One sample of each series that has one at just this time. */
static void write_row(const struct es_trace *trace, double t, size_t *at, FILE *to)
{
    write_value(t, es_dimension_unit(ES_DIM_TIME), to);
    for (size_t i = 0; i < trace->series_count; i++) {
        const struct es_series *s = &trace->series[i];
        fputc(',', to);
        if (at[i] == s->count || s->t[at[i]] > t)
            continue;
        if (s->quality[at[i]] == ES_GOOD)
            write_value(s->y[at[i]], es_dimension_unit(s->dimension), to);
        else
            fputs("NaN", to);
        at[i]++;
    }
    fputc('\n', to);
}

enum es_status es_recording_csv(const struct es_trace *trace, FILE *to, struct es_error *err)
{
    size_t *at = calloc(trace->series_count + 1, sizeof *at);
    if (at == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for a recording");
    write_notes(trace, to);
    write_conditions(trace, to);
    write_head(trace, to);
    double t;
    while (!isnan(t = next_time(trace, at)))
        write_row(trace, t, at, to);
    free(at);
    return ES_OK;
}
