/* The real decays of closed chambers beside the checkout: open data set "3D-printed pneumatic actuator", TU
 * Delft, CC0 1.0; 10 Hz with gaps, times with points as thousands marks. */
#ifndef ES_TESTS_REAL_DECAY_H
#define ES_TESTS_REAL_DECAY_H

#include <criterion/criterion.h>
#include <math.h>

#include "procedures/measures/csv_trace.h"
#include "tests/reference/measures/outside_data.h"

/* One series, output 1 pressure, in Pa; NULL when the data are not there. The caller frees. */
static inline struct es_trace *real_decay(const char *name)
{
    size_t length;
    char *text = outside_data(name, &length);
    if (!text)
        return NULL;
    struct es_csv_column columns[] = {{.column = "1", .is_time = true, .unit = es_unit_find("ms", 2)},
                                      {.column = "3",
                                       .role = ES_ROLE_OUTPUT_1_PRESSURE,
                                       .unit = es_unit_find("bar", 3),
                                       .u = {.dof = INFINITY, .resolution = 100}}};
    struct es_csv_options options = {columns, 2, 0, false, 0};
    struct es_findings findings = {0};
    struct es_trace *trace = NULL;
    struct es_csv_report report;
    struct es_error err = {0};
    enum es_status status = es_csv_trace_read(name, text, length, &options, &findings, &trace, &report, &err);
    if (status != ES_OK)
        es_findings_print(&findings, stderr);
    cr_assert_eq(status, ES_OK);
    cr_assert_gt(report.rows, 1400);
    cr_assert_eq(report.thousands, '.');
    es_findings_free(&findings);
    free(text);
    return trace;
}

#endif
