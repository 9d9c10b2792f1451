/* Tables that cannot be read: each fault has its place, what was found, what is expected and, where that is
 * not plain, what to do. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/csv_trace.h"

struct bad {
    const char *text;
    unsigned line, column;
    const char *found, *expected, *advice;
};

static const char header[] = "time [s];travel [mm]\n";

static const struct bad bads[] = {
    {"", 0, 0, "an empty file", "a header such as", ""},
    {"\n\r\n\n", 0, 0, "no row of numbers", "a header such as", ""},
    {"time [s];travel [mm]\n", 1, 1, "text, and no row of numbers", "rows with a time", ""},
    {"0;1\n1;2\n", 1, 1, "no header of 2 names", "a header such as", "--column \"time=1 [s]\""},
    {"time [s],travel [mm]\n0,0,1,5\n0,1,1,6\n", 2, 1, "a row of 4 numbers", "a header",
     "semicolons or tabs"},
    {"time [s],travel [mm]\n0,1\n1,1,5,6\n", 3, 7, "4 cells", "2 cells", "semicolons or tabs"},
    {"zeit [s];travel [mm]\n0;1\n", 1, 1, "no time column among \"zeit\", \"travel\"", "named \"time\"",
     "--column \"time="},
    {"time [s];position [mm]\n0;1\n", 1, 1,
     "no column that is named like a channel among \"time\", \"position\"", "\"travel [mm]\"",
     "--column \"travel="},
    {"time;travel [mm]\n0;1\n", 1, 1, "column \"time\" without a unit", "a unit of time: s", "\"time [s]\""},
    {"time [s];travel\n0;1\n", 1, 10, "column \"travel\" without a unit", "a unit of length: mm",
     "\"travel [mm]\""},
    {"time [s];travel [furlong]\n0;1\n", 1, 10, "with unit \"furlong\"", "a unit of length: mm", ""},
    {"time [mm];travel [mm]\n0;1\n", 1, 1, "with unit \"mm\"", "a unit of time: s", ""},
    {"time [s];output 1 flow [l/min]\n0;1\n", 1, 10, "with unit \"l/min\"", "l/min ANR", ""},
    {"time [s];travel [mm];travel [mm]\n0;1;2\n", 1, 22, "a second column of \"travel\"", "each channel once",
     "--column \"travel=3\""},
    {"time [s];t [s];travel [mm]\n0;1;2\n", 1, 10, "a second column of \"time\"", "each channel once",
     "--column \"time=2\""},
    {"time [s];travel [mm]\n0;1\n2;1\n1;1\n", 4, 1, "\"1\"", "not before that of the row above",
     "Cut the file"},
    {"time [s];travel [mm]\n0;1\n0;2\n1;3\n", 3, 1, "2 rows with the time 0 s", "each time once",
     "--merge-repeats"},
    {"time [s];travel [mm]\n0;1\n;2\n1;3\n", 3, 1, "\"\"", "a time", "write its time"},
    {"time [s];travel [mm]\n10:00:00;1\n10:00:01;1\n", 2, 1, "\"10:00:00\"", "a number",
     "in a column without a unit"},
    {"time [s];travel [mm]\n2025-03-01 10:00;1\n2025-03-01 10:01;1\n", 3, 1, "\"2025-03-01 10:01\"",
     "a number", "ISO 8601"},
    {"time [s];travel [mm]\n0;1e400\n", 2, 3, "\"1e400\"", "at most 1.8e308", ""},
    {"time [s];output 1 pressure [bar]\n0;1e306\n", 2, 3, "\"1e306\"", "no larger than a double", ""},
    {"time [s];travel [mm]\n0;1 mm\n", 2, 3, "\"1 mm\"", "a number", "leave the cell empty"},
    {"time [s];travel [mm]\n0;inf\n", 2, 3, "\"inf\"", "a number", "leave the cell empty"},
    {"time [s];travel [mm]\n0;0x12\n", 2, 3, "\"0x12\"", "a number", ""},
    {"time [s];travel [mm]\n0;1,234\n", 2, 3, "\"1,234\"", "read in one way only", "--decimal"},
    {"time [s];travel [mm]\n0.5;1\n1,5;2\n", 3, 1, "\"1,5\"", "a decimal point, as elsewhere", "both used"},
    {"time [s];travel [mm]\n0;\"1\n1;2\n", 2, 3, "a quote that is not closed", "2 cells", "Close the quote"},
    /* a row in which an instrument says why it has no number is no text between the numbers */
    {"travel [mm];output 1 pressure [bar];time [s]\n1;1;0\nOL;OL;1\n1;1;2\n", 3, 1, "\"OL\"", "a number",
     "leave the cell empty"},
    {"time [s];travel [mm];output 1 pressure [bar]\n0;1;1\n;;5\n2;1;1\n", 3, 1, "\"\"", "a time",
     "write its time"},
    {"time [s];travel [mm]\n0;1\n1;9.9E37\n", 3, 3, "\"9.9E37\"", "that was measured", "overflow"},
    {"time [s];travel [mm]\n0;1\n1;-9.91e37\n", 3, 3, "\"-9.91e37\"", "that was measured", "overflow"},
    {"time [s];supply pressure [bara]\n0;1\n", 1, 10, "with unit \"bara\"", "a gauge pressure", "taken off"},
    {"time [s];ambient pressure [psig]\n0;1\n", 1, 10, "with unit \"psig\"", "an absolute pressure", "added"},
    {"time [s];travel [mpa]\n0;1\n", 1, 10, "with unit \"mpa\"", "a unit of length", ""},
    {"time;travel [mm]\n2025-02-29T10:00:00;1\n", 2, 1, "\"2025-02-29T10:00:00\"", "a date and time",
     "ISO 8601"},
    {"time;travel [mm]\n01/03/2025 10:00;1\n", 1, 1, "column \"time\" without a unit", "a unit of time", ""},
    {"time;travel [mm]\n23:59:59;1\n00:00:00;1\n", 3, 1, "\"00:00:00\"", "not before", "Midnight"},
    {"time;travel [mm]\n2025-10-26T02:59:59;1\n2025-10-26T02:00:00;1\n", 3, 1, "\"2025-10-26T02:00:00\"",
     "not before", "put back"},
    {"time;travel [mm]\n2025-03-01T10:00Z;1\n2025-03-01T10:01;1\n", 3, 1, "\"2025-03-01T10:01\"",
     "in the form of the first row", ""},
    {"time [s];travel [mm]\n0;1\n1;1;2\n", 3, 5, "3 cells", "2 cells", "Complete the row"},
};

static enum es_status read_text(const char *text, size_t length, const struct es_csv_options *options,
                                struct es_findings *findings, struct es_trace **trace)
{
    struct es_error err = {0};
    *trace = NULL;
    enum es_status s = es_csv_trace_read("r.csv", text, length, options, findings, trace, NULL, &err);
    cr_assert_eq(s == ES_OK, *trace != NULL);
    return s;
}

static bool says(const struct es_findings *f, const struct bad *b)
{
    for (size_t i = 0; i < f->count; i++) {
        const struct es_finding *x = &f->items[i];
        if (x->line == b->line && x->column == b->column && strstr(x->found, b->found) &&
            strstr(x->expected, b->expected) && strstr(x->advice, b->advice) && strcmp(x->file, "r.csv") == 0)
            return true;
    }
    return false;
}

Test(csv_faults, place_found_expected_and_what_to_do)
{
    for (size_t i = 0; i < sizeof bads / sizeof bads[0]; i++) {
        struct es_findings findings = {0};
        struct es_trace *trace;
        cr_expect_eq(read_text(bads[i].text, strlen(bads[i].text), NULL, &findings, &trace), ES_BAD_INPUT,
                     "%s", bads[i].text);
        if (!says(&findings, &bads[i]))
            es_findings_print(&findings, stderr);
        cr_expect(says(&findings, &bads[i]), "%zu: %u:%u %s; %s. %s", i, bads[i].line, bads[i].column,
                  bads[i].found, bads[i].expected, bads[i].advice);
        es_trace_free(trace);
        es_findings_free(&findings);
    }
}

/* Two columns of one name: no guess. */
Test(csv_faults, which_of_two_columns_of_one_name)
{
    static const char text[] = "time [s];signal [mm];signal [mm]\n0;1;2\n1;1;2\n";
    const struct es_csv_column column = {.column = "signal", .role = ES_ROLE_TRAVEL, .u = {.dof = INFINITY}};
    const struct es_csv_options options = {&column, 1, 0, false, 0};
    struct es_findings findings = {0};
    struct es_trace *trace = NULL;
    cr_assert_eq(read_text(text, strlen(text), &options, &findings, &trace), ES_BAD_INPUT);
    cr_expect_not_null(strstr(findings.items[0].found, "several columns \"signal\""));
    cr_expect_not_null(strstr(findings.items[0].advice, "number"));
    es_findings_free(&findings);
}

/* Bytes that are no text. */
Test(csv_faults, what_is_no_text)
{
    struct es_findings findings = {0};
    struct es_trace *trace;
    cr_assert_eq(read_text("t\0i\0", 4, NULL, &findings, &trace), ES_BAD_INPUT);
    cr_assert_not_null(strstr(findings.items[0].advice, "UTF-8"));
    es_findings_free(&findings);
}

/* Of two columns of one name the one that was asked for is taken, and nothing else is. */
Test(csv_faults, which_of_two_columns_can_be_said)
{
    static const char text[] = "time [s];travel [mm];travel [mm]\n0;1;2\n1;1;2\n";
    const struct es_csv_column column = {.column = "3", .role = ES_ROLE_TRAVEL, .u = {.dof = INFINITY}};
    const struct es_csv_options options = {.columns = &column, .column_count = 1};
    struct es_findings findings = {0};
    struct es_trace *trace;
    cr_assert_eq(read_text(text, strlen(text), &options, &findings, &trace), ES_OK);
    cr_assert_eq(trace->series_count, 1);
    cr_assert_float_eq(trace->series[0].y[0], 0.002, 1e-15);
    es_trace_free(trace);
}

/* As large as a double goes, and as small: the number that stands there. */
Test(csv_faults, huge_and_tiny_numbers)
{
    static const char rows[] = "0;1e308\n1;-1e300\n2;1e-320\n3;123456789012345678901234567890\n";
    const double wanted[] = {1e305, -1e297, 1e-323, 123456789012345678901234567.89};
    char text[200];
    struct es_findings findings = {0};
    struct es_trace *trace;
    (void)snprintf(text, sizeof text, "%s%s", header, rows);
    cr_assert_eq(read_text(text, strlen(text), NULL, &findings, &trace), ES_OK);
    for (size_t i = 0; i < 4; i++)
        cr_expect_float_eq(trace->series[0].y[i], wanted[i], 1e-12 * fabs(wanted[i]) + 5e-324, "%zu: %g", i,
                           trace->series[0].y[i]);
    es_trace_free(trace);
}
