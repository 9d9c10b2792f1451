/* Lesson 10 of real recordings: files are untidy. The right number or a fault with its place. */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "procedures/measures/csv_number.h"
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

/* What loggers and spreadsheets make of one and the same table. */
Test(csv, headers_of_others)
{
    static const char *const texts[] = {
        "time [s];travel [mm]\n0;1.5\n1;2.5\n",
        "Time (sec);Travel (mm)\n0;1.5\n1;2.5\n",
        "time / s;travel / mm\n0;1.5\n1;2.5\n",
        "time, s;travel, mm\n0;1.5\n1;2.5\n",
        "time;travel\ns;mm\n0;1.5\n1;2.5\n",
        "time;travel\n[s];[mm]\n0;1.5\n1;2.5\n",
        "workshop;2\ntime;travel\n(s);(mm)\n\n0;1.5\n1;2.5\n",
        "# time [s];travel [mm]\n0;1.5\n1;2.5\n",
        "time [s];travel [mm]\n# started 10:00; by hand\n0;1.5\n# a remark; 7\n1;2.5\n",
        "time [s];travel [mm]\nstarted by hand\n0;1.5\n1;2.5\n",
        "time [s];travel [mm]\n0;1.5;\n1;2.5;\n",
        "time [s];travel [mm];\n0;1.5;\n1;2.5;\n",
        "time [s];travel [mm];\n0;1.5\n1;2.5\n",
        "\"time [s]\",\"travel [mm]\"\n\"0\",\"1.5\"\n\"1\",\"2.5\"\n",
        "time [s]\u00a0;\u00a0travel [mm]\n\u00a00;1.5\u00a0\n1;2.5\n",
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct es_trace *t = read_text(texts[i]);
        cr_assert_not_null(t, "%zu: %s", i, texts[i]);
        cr_assert_eq(t->series_count, 1, "%zu", i);
        cr_assert_eq(t->series[0].count, 2, "%zu: %zu rows", i, t->series[0].count);
        cr_expect_float_eq(t->series[0].t[1], 1, 1e-12, "%zu: %s", i, texts[i]);
        cr_expect_float_eq(t->series[0].y[0], 1.5e-3, 1e-12, "%zu: %s", i, texts[i]);
        cr_expect_float_eq(t->series[0].y[1], 2.5e-3, 1e-12, "%zu: %s", i, texts[i]);
        es_trace_free(t);
    }
}

Test(csv, units_of_others)
{
    static const struct {
        const char *head;
        double factor;
    } cases[] = {
        {"supply_pressure [psig]", 6894.757293168361}, /* NIST SP 811, B.8 */
        {"supply pressure (bar(g))", 1e5},
        {"ambient pressure [bara]", 1e5},
        {"shaft angle [\xc2\xb0]", 0.017453292519943295},
        {"shaft angle [\xb0]", 0.017453292519943295}, /* Latin-1 */
        {"output 1 flow [NL/min]", 1.01325 * 293.15 / 273.15 * 1e-3 / 60},
        {"output 1 flow [Nm\xc2\xb3/h]", 1.01325 * 293.15 / 273.15 / 3600},
        {"output 1 flow (l/min (ANR))", 1e-3 / 60},
        {"output 1 flow/Nl/h", 1.01325 * 293.15 / 273.15 * 1e-3 / 3600},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[128];
        (void)snprintf(text, sizeof text, "time [s];%s\n0;1\n1;2.5\n", cases[i].head);
        struct es_trace *t = read_text(text);
        cr_assert_not_null(t, "%s", cases[i].head);
        cr_expect_float_eq(t->series[0].y[1], 2.5 * cases[i].factor, 1e-12 * cases[i].factor, "%s: %.17g",
                           cases[i].head, t->series[0].y[1]);
        es_trace_free(t);
    }
}

/* ISO 8601; days of the calendar are counted, a zone is taken off. */
Test(csv, dates_and_times_of_day)
{
    static const struct {
        const char *first, *second;
        double between;
    } cases[] = {
        {"10:00:00", "10:00:00.25", 0.25},
        {"9:59", "10:00", 60},
        {"2025-03-01T10:00:00.250", "2025-03-01T10:00:01,750", 1.5},
        {"2025-03-01 23:59:59.9", "2025-03-02 00:00:00.1", 0.2},
        {"2024-02-28T23:59:59Z", "2024-03-01T00:00:00Z", 86401},
        {"2100-02-28T23:59:59Z", "2100-03-01T00:00:00Z", 1},
        {"2025-12-31T23:59:59", "2026-01-01T00:00:00", 1},
        {"2025-10-26T02:59:59+02:00", "2025-10-26T02:00:00+01:00", 1}, /* clocks put back */
        {"2025-06-01T00:30:00+0200", "2025-05-31T23:00:00Z", 1800},
        {"2016-12-31T23:59:60Z", "2017-01-01T00:00:01Z", 1}, /* a leap second is not counted apart */
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[160];
        (void)snprintf(text, sizeof text, "time;travel [mm]\n%s;1\n%s;2\n", cases[i].first, cases[i].second);
        struct es_trace *t = read_text(text);
        cr_assert_not_null(t, "%s", cases[i].first);
        cr_assert_eq(t->series[0].count, 2, "%s", cases[i].first);
        cr_expect_float_eq(t->series[0].t[1], cases[i].between, 1e-9, "%s: %.12g", cases[i].first,
                           t->series[0].t[1]);
        es_trace_free(t);
    }
}

/* "Unicode text" of a spreadsheet, both orders of bytes. */
Test(csv, utf16)
{
    static const char text[] = "time [s]\tshaft angle [\xc2\xb0]\r\n0\t1,5\r\n1\t\xe2\x88\x92"
                               "90,5\r\n";
    static const unsigned wide[] = {0xb0, 0x2212};
    for (int little = 0; little < 2; little++) {
        char bytes[256];
        size_t n = 0, sign = 0;
        bytes[n++] = (char)(little ? 0xff : 0xfe);
        bytes[n++] = (char)(little ? 0xfe : 0xff);
        for (const char *p = text; *p; p++) {
            unsigned c = (unsigned char)*p;
            if (c >= 0x80) {
                p += c >= 0xe0 ? 2 : 1;
                c = wide[sign++];
            }
            bytes[n++] = (char)(little ? c & 0xff : c >> 8);
            bytes[n++] = (char)(little ? c >> 8 : c & 0xff);
        }
        struct es_trace *t = NULL;
        struct es_error err = {0};
        cr_assert_eq(es_csv_trace_read("r.csv", bytes, n, NULL, &findings, &t, NULL, &err), ES_OK, "%s",
                     err.text);
        cr_assert_eq(t->series[0].count, 2);
        cr_expect_float_eq(t->series[0].y[1], -90.5 * 0.017453292519943295, 1e-12);
        es_trace_free(t);
    }
}

/* The quick way of reading a cell and the thorough one give the same bits. */
Test(csv, plain_numbers_bit_for_bit)
{
    static const char *const cells[] = {"0.1",
                                        "1.1",
                                        "123456.789",
                                        "0.000001",
                                        "-0.3",
                                        "999999999999999999",
                                        "0.123456789012345678",
                                        "17.0000000000000000",
                                        "3.",
                                        "-7"};
    const struct es_csv_style style = {.decimal = '.'};
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
        char slow[64];
        long double a = 0, b = 0;
        (void)snprintf(slow, sizeof slow, "%s%s", cells[i], "e0"); /* an exponent takes the thorough way */
        cr_assert_eq(es_csv_number_read(cells[i], strlen(cells[i]), &style, &a), ES_CSV_NUMBER, "%s",
                     cells[i]);
        cr_assert_eq(es_csv_number_read(slow, strlen(slow), &style, &b), ES_CSV_NUMBER, "%s", slow);
        cr_expect(a == b, "%s: %.25Lg and %.25Lg", cells[i], a, b);
    }
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
