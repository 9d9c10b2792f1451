/* Lesson 10 of real recordings: files are untidy. The right number or a fault with its place. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/csv_trace.h"

static struct es_findings findings;
static struct es_csv_report report;

static struct es_trace *read_with(const char *text, const struct es_csv_options *options)
{
    struct es_trace *trace = NULL;
    struct es_error err = {0};
    es_findings_free(&findings);
    memset(&report, 0, sizeof report);
    enum es_status status =
        es_csv_trace_read("r.csv", text, strlen(text), options, &findings, &trace, &report, &err);
    cr_assert_eq(status == ES_OK, trace != NULL);
    cr_assert_eq(status == ES_BAD_INPUT, es_findings_any(&findings));
    return trace;
}

static struct es_trace *read_text(const char *text)
{
    return read_with(text, NULL);
}

static void expect(const char *text, const double *t, const double *y, size_t n)
{
    struct es_trace *trace = read_text(text);
    if (!trace)
        es_findings_print(&findings, stderr);
    cr_assert_not_null(trace);
    const struct es_series *s = es_trace_series(trace, ES_ROLE_TRAVEL);
    cr_assert_eq(s->count, n, "%zu rows", s->count);
    for (size_t i = 0; i < n; i++) {
        cr_assert_float_eq(s->t[i], t[i], 1e-12, "row %zu t %.15g", i, s->t[i]);
        if (isnan(y[i]))
            cr_assert_neq(s->quality[i], ES_GOOD);
        else
            cr_assert_float_eq(s->y[i], y[i], 1e-12, "row %zu y %.15g", i, s->y[i]);
    }
    es_trace_free(trace);
}

static void expect_fault(const char *text, unsigned line, unsigned column)
{
    cr_assert_null(read_text(text));
    bool seen = false;
    for (size_t i = 0; i < findings.count; i++)
        seen |= findings.items[i].line == line && findings.items[i].column == column;
    if (!seen)
        es_findings_print(&findings, stderr);
    cr_assert(seen, "no finding at %u:%u", line, column);
}

Test(csv, plain)
{
    expect("time [s];travel [mm]\n0.0;1.5\n0.1;2.5\n", (double[]){0, 0.1}, (double[]){0.0015, 0.0025}, 2);
}

Test(csv, comma_tab_and_blank_separators)
{
    expect("time [s],travel [mm]\n0.0,1.5\n0.1,2.5\n", (double[]){0, 0.1}, (double[]){0.0015, 0.0025}, 2);
    expect("time [s]\ttravel [mm]\n0.0\t1.5\n0.1\t2.5\n", (double[]){0, 0.1}, (double[]){0.0015, 0.0025}, 2);
    struct es_csv_column columns[] = {{.column = "1", .is_time = true, .unit = es_unit_find("s", 1)},
                                      {.column = "2", .role = ES_ROLE_TRAVEL, .unit = es_unit_find("mm", 2)}};
    struct es_trace *t =
        read_with("0,0   1,5\n0,1   2,5\n", &(struct es_csv_options){columns, 2, 0, false, 0});
    cr_assert_not_null(t);
    cr_assert_float_eq(t->series[0].y[1], 0.0025, 1e-15);
    cr_assert_eq(report.decimal, ',');
    es_trace_free(t);
}

Test(csv, decimal_comma_with_thousands_points)
{
    expect("time [ms];travel [mm]\n0,5;1.003,25\n1.000,5;2,5\n", (double[]){0, 1},
           (double[]){1.00325, 0.0025}, 2);
}

Test(csv, point_as_thousands_and_decimal_mark)
{
    /* as in open recordings of decays: 903.000, 1.003.000 ms; "0.000" proves the point to be decimal */
    expect("time [ms];travel [mm]\n0.000;7.315\n903.000;7.316\n1.003.000;7.317\n",
           (double[]){0, 0.903, 1.003}, (double[]){0.007315, 0.007316, 0.007317}, 3);
}

Test(csv, two_readings_are_refused)
{
    expect_fault("time [ms];travel [mm]\n100.000;7\n1.003.000;8\n", 2, 1);
    expect_fault("time [s];travel [mm]\n1;1.234\n2;1.235\n", 2, 3);
    expect_fault("time [s];travel [mm]\n1;1,234\n2;1,235\n", 2, 3);
    /* with the caller's word it is one reading */
    struct es_trace *t =
        read_with("time [s];travel [mm]\n1;1.234\n2;1.235\n", &(struct es_csv_options){.decimal = ','});
    cr_assert_not_null(t);
    cr_assert_float_eq(t->series[0].y[0], 1.234, 1e-12);
    es_trace_free(t);
}

Test(csv, contradicting_marks)
{
    expect_fault("time [s];travel [mm]\n0.5;1\n1,5;2\n", 3, 1);
    expect_fault("time [s];travel [mm]\n0.5;1\n1.5;12.34.5\n", 3, 5);
}

Test(csv, line_ends_mark_and_text_between)
{
    double t[] = {0, 1, 2}, y[] = {0.001, 0.002, 0.003};
    expect("\xef\xbb\xbftime [s];travel [mm]\r\n0;1\r\n1;2\r\n2;3\r\n", t, y, 3);
    expect("time [s];travel [mm]\r0;1\r1;2\r2;3\r", t, y, 3);
    expect("recorded in the workshop\n\ntime [s];travel [mm]\n0;1\n# supply raised\n1;2\n\n2;3", t, y, 3);
    cr_assert_eq(report.text_rows, 1);
}

Test(csv, missing_values)
{
    expect("time [s];travel [mm]\n0;1\n1;\n2;NaN\n3;-\n4;5\n", (double[]){0, 1, 2, 3, 4},
           (double[]){0.001, NAN, NAN, NAN, 0.005}, 5);
    cr_assert_eq(report.missing, 3);
}

Test(csv, repeated_times)
{
    expect("time [s];travel [mm]\n0;1\n1;2\n1;2\n1;\n2;3\n", (double[]){0, 1, 2},
           (double[]){0.001, 0.002, 0.003}, 3);
    cr_assert_eq(report.merged, 2);
    cr_assert_null(read_text("time [s];travel [mm]\n0;1\n1;2\n1;4\n2;3\n"));
    struct es_trace *t = read_with("time [s];travel [mm]\n0;1\n1;2\n1;4\n2;3\n",
                                   &(struct es_csv_options){.merge_repeats = true});
    cr_assert_not_null(t);
    cr_assert_float_eq(t->series[0].y[1], 0.003, 1e-15);
    es_trace_free(t);
}

Test(csv, time_running_backwards)
{
    expect_fault("time [s];travel [mm]\n0;1\n2;2\n1;3\n", 4, 1);
}

Test(csv, gaps_are_counted)
{
    expect("time [s];travel [mm]\n0;1\n1;1\n2;1\n9;1\n", (double[]){0, 1, 2, 9},
           (double[]){0.001, 0.001, 0.001, 0.001}, 4);
    cr_assert_eq(report.gaps, 1);
}

Test(csv, places_of_faults)
{
    expect_fault("time [s];travel [mm]\n0;1\n1;2x\n", 3, 3);
    expect_fault("time [s];travel [mm]\n0;1\n1;2;3\n", 3, 5);
    expect_fault("time [s];travel [furlong]\n0;1\n", 1, 10);
    expect_fault("time [s];travel [bar]\n0;1\n", 1, 10);
    expect_fault("time [s];travel\n0;1\n", 1, 10);
    expect_fault("time [s];travel [mm]\n0;1\n;2\n", 3, 1);
    expect_fault("time [s];\xc3\xa4 [mm];travel [mm]\n0;1;2\n1;2;\xc3\xa4\n", 3, 5);
}

Test(csv, all_faults_at_once)
{
    cr_assert_null(read_text("time [s];travel [mm]\n0;a\n1;b\n2;c\n"));
    cr_assert_eq(findings.count, 3);
}

Test(csv, nothing_to_read)
{
    cr_assert_null(read_text(""));
    cr_assert_null(read_text("time [s];travel [mm]\n"));
    cr_assert_null(read_text("only\ntext\n"));
    cr_assert_null(read_text("time [s];nothing known [mm]\n0;1\n"));
    cr_assert_null(read_text("travel [mm];shaft angle [deg]\n0;1\n"));
    cr_assert_null(read_text("time [s];travel [mm];travel [mm]\n0;1;2\n"));
}

Test(csv, columns_by_name_and_number)
{
    struct es_csv_column columns[] = {{.column = "zeit", .is_time = true, .unit = es_unit_find("ms", 2)},
                                      {.column = "3", .role = ES_ROLE_OUTPUT_1_PRESSURE}};
    struct es_csv_options o = {columns, 2, 0, false, 0};
    struct es_trace *t = read_with("Zeit;roh;Druck [bar]\n0;1;0.5\n10;2;0.75\n", &o);
    cr_assert_not_null(t);
    cr_assert_eq(t->series_count, 1);
    cr_assert_float_eq(t->series[0].t[1], 0.01, 1e-15);
    cr_assert_float_eq(t->series[0].y[1], 75000, 1e-9);
    es_trace_free(t);
    columns[1].column = "no such";
    cr_assert_null(read_with("Zeit;roh;Druck [bar]\n0;1;0.5\n", &o));
}

Test(csv, demand_becomes_commands)
{
    struct es_trace *t =
        read_text("time [s];loop demand [mA];travel [mm]\n0;4;0\n1;4;0\n2;12;0\n3;12;5\n4;8;5\n");
    cr_assert_not_null(t);
    cr_assert_eq(t->command_count, 2);
    cr_assert_float_eq(t->commands[0].t, 1.5, 1e-12);
    cr_assert_float_eq(t->commands[0].to, 0.012, 1e-12);
    cr_assert_float_eq(t->commands[0].u_t, 0.5 / sqrt(3), 1e-12);
    cr_assert_float_eq(t->commands[1].from, 0.012, 1e-12);
    es_trace_free(t);
}

Test(csv, part_turn_travel)
{
    struct es_trace *t = read_text("time [s];travel [deg]\n0;90\n1;45\n");
    cr_assert_not_null(t);
    cr_assert_eq(t->series[0].dimension, ES_DIM_ANGLE);
    cr_assert_float_eq(t->series[0].y[0], acos(0), 1e-12);
    es_trace_free(t);
}

Test(csv, grouping_blanks)
{
    expect("time [s];travel [mm]\n0;1 003.5\n1;2\xc2\xa0"
           "000\n",
           (double[]){0, 1}, (double[]){1.0035, 2}, 2);
    expect_fault("time [s];travel [mm]\n0;1 03.5\n", 2, 3);
}

/* Two instruments in one table: an empty cell beside another's value is no missing sample. */
Test(csv, columns_sampled_at_their_own_times)
{
    struct es_trace *t =
        read_text("t/s,travel/mm,output 1 flow/Nl/h\n0,1.5,\n0.5,,7.25\n1,2.5,8.5\n1.5,NaN,\n");
    cr_assert_not_null(t);
    const struct es_series *travel = es_trace_series(t, ES_ROLE_TRAVEL),
                           *flow = es_trace_series(t, ES_ROLE_OUTPUT_1_FLOW);
    cr_assert_eq(travel->count, 3);
    cr_assert_eq(flow->count, 2);
    cr_assert_float_eq(travel->t[1], 1, 1e-15);
    cr_assert_float_eq(travel->y[1], 0.0025, 1e-15);
    cr_assert_neq(travel->quality[2], ES_GOOD);
    cr_assert_float_eq(flow->t[0], 0.5, 1e-15);
    cr_assert_eq(report.missing, 1);
    es_trace_free(t);
}

/* Times that are not even, as loggers on a busy machine write them: kept as they are. */
Test(csv, uneven_times)
{
    expect("time [ms];travel [mm]\n0;1\n9,5;2\n21;3\n29,75;4\n", (double[]){0, 0.0095, 0.021, 0.02975},
           (double[]){0.001, 0.002, 0.003, 0.004}, 4);
    cr_assert_eq(report.gaps, 0);
}
