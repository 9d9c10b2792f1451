/* Any bytes: a trace whose invariants hold, or faults; never both, never neither. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "procedures/measures/csv_trace.h"

static void check(bool holds)
{
    if (!holds)
        abort();
}

static void check_trace(const struct es_trace *t)
{
    check(t->series_count > 0);
    for (size_t k = 0; k < t->series_count; k++) {
        const struct es_series *s = &t->series[k];
        check(s->count > 0);
        for (size_t i = 0; i < s->count; i++) {
            check(isfinite(s->t[i]) && (i == 0 || s->t[i] > s->t[i - 1]));
            check((s->quality[i] == ES_GOOD) == (bool)isfinite(s->y[i]));
        }
    }
    for (size_t i = 1; i < t->command_count; i++)
        check(t->commands[i].t >= t->commands[i - 1].t);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_csv_column columns[] = {{.column = "1", .is_time = true, .unit = es_unit_find("s", 1)},
                                      {.column = "2", .role = ES_ROLE_TRAVEL, .unit = es_unit_find("mm", 2)}};
    struct es_csv_options options = {0};
    if (size) {
        options.columns = columns;
        options.column_count = data[0] & 1 ? 2 : 0;
        options.merge_repeats = data[0] & 2;
        options.decimal = data[0] & 4 ? (data[0] & 8 ? ',' : '.') : 0;
        data++;
        size--;
    }
    struct es_findings findings = {0};
    struct es_trace *trace = NULL;
    struct es_error err = {0};
    enum es_status status =
        es_csv_trace_read("fuzz", (const char *)data, size, &options, &findings, &trace, NULL, &err);
    if (status == ES_OK) {
        check(trace && !es_findings_any(&findings));
        check_trace(trace);
    } else {
        check(!trace && (status != ES_BAD_INPUT || es_findings_any(&findings)));
    }
    es_trace_free(trace);
    es_findings_free(&findings);
    return 0;
}
