/* The bench file's reader: what a good file gives, and that each fault is found where it stands. */
#include <criterion/criterion.h>
#include <criterion/parameterized.h>
#include <math.h>
#include <string.h>

#include "rig/bench/bench.h"
#include "tests/support/bench/small_bench.h"

static enum es_status read_text(const char *text, struct es_findings *f, struct es_bench **bench)
{
    struct es_error err = {0};
    struct es_document *doc;
    enum es_status status = es_document_parse("bench.json", text, strlen(text), f, &doc, &err);
    if (status != ES_OK) {
        return status;
    }
    status = es_bench_from_document(doc, f, bench, &err);
    es_document_free(doc);
    return status;
}

Test(bench_reader, good_file_gives_coherent_values)
{
    struct es_findings f = {0};
    struct es_bench *b;
    enum es_status status = read_text(SMALL_BENCH, &f, &b);
    es_findings_print(&f, stderr);
    cr_assert_eq(status, ES_OK);
    cr_assert_eq(b->bus_count, 2);
    cr_assert_eq(b->instrument_count, 3);
    cr_assert_eq(b->buses[0].instrument_count, 2);
    cr_assert_eq(b->instruments[2].bus, 1);
    const struct es_bench_station *s = es_bench_find_station(b, "1");
    cr_assert_not_null(s);
    cr_assert_null(es_bench_find_station(b, "2"));
    const struct es_bench_channel *c = es_station_channel(s, ES_ROLE_SUPPLY_PRESSURE);
    cr_assert_float_eq(c->calibration.U_offset, 200, 1e-9);
    cr_assert_float_eq(c->calibration.readings[1], 5e5, 1e-6);
    cr_assert_float_eq(c->calibration.corrections[1], 2e3, 1e-6);
    cr_assert_float_eq(c->plausible_high, 1e6, 1e-6);
    cr_assert_eq(c->rate, 50);
    cr_assert_not(c->writable);
    c = es_station_channel(s, ES_ROLE_LOOP_DEMAND);
    cr_assert(c->writable);
    cr_assert_eq(c->read_back, ES_ROLE_LOOP_CURRENT);
    cr_assert_float_eq(c->read_back_within, 1e-4, 1e-12);
    cr_assert_float_eq(es_station_ceiling(s, ES_ROLE_LOOP_DEMAND)->highest, 0.022, 1e-12);
    cr_assert(isinf(es_station_ceiling(s, ES_ROLE_LOOP_DEMAND)->slew));
    cr_assert_float_eq(es_station_ceiling(s, ES_ROLE_SUPPLY_DEMAND)->slew, 1e7, 1e-3);
    cr_assert_eq(s->safe_write_count, 4);
    cr_assert_eq(s->safe_writes[0].role, ES_ROLE_SUPPLY_VALVE);
    cr_assert_float_eq(s->safe_writes[0].wait_after, 0.02, 1e-12);
    cr_assert_float_eq(s->facts[0].value, 5e-4, 1e-12);
    cr_assert_eq(strlen(b->digest), 64);
    es_bench_free(b);
    es_findings_free(&f);
}

/* A change of the good file, and what the finding must say, at the line where the change stands. */
struct fault {
    const char *from, *to;
    const char *expected; /* part of the finding's text */
};

static const struct fault faults[] = {
    {"bench/1", "bench/9", "bench/1"},
    {"\"driver\": \"scripted\", \"settings\": {\"script\": \"loop\"}", "\"driver\": \"telepathy\"",
     "scripted"},
    {"{\"name\": \"loop\"", "{\"name\": \"air\"", "name of its own"},
    {"\"name\": \"valves\"", "\"name\": \"gauges\"", "name of its own"},
    {"\"bus\": \"loop\"", "\"bus\": \"lop\"", "name of a bus"},
    {"\"settings\": {\"script\": \"air\"}", "\"settings\": {}", "script"},
    {", \"settings\": {\"script\": \"air\"}", "", "settings"},
    {"\"timeout\": \"50 ms\", \"settings\": {\"unit\": 1}",
     "\"timeout\": \"50 bar\", \"settings\": {\"unit\": 1}", "time"},
    {"\"unit\": 1}", "\"unit\": 17}", "3"},
    {"\"role\": \"emergency stop\"", "\"role\": \"emergency halt\"", "\"emergency stop\" meant"},
    {"\"role\": \"emergency stop\"", "\"role\": \"supply pressure\"", "each role once"},
    {"\"instrument\": \"source\", \"address\": {\"register\": 1}",
     "\"instrument\": \"sauce\", \"address\": {\"register\": 1}", "instrument"},
    {"\"unit\": \"bar\", \"scale\"", "\"unit\": \"mA\", \"scale\"", "pressure"},
    {"\"unit\": \"bar\", \"scale\"", "\"unit\": \"barr\", \"scale\"", "pressure"},
    {"\"unit\": \"bar\", \"scale\"", "\"scale\"", "unit"},
    {"{\"factor\": 0.001}", "{\"factor\": 0}", "other than 0"},
    {"{\"factor\": 0.001}", "{\"table\": [[0, 0]]}", "2"},
    {"{\"factor\": 0.001}", "{\"table\": [[0, 0], [10, 1], [5, 2]]}", "rises"},
    {"{\"factor\": 0.001}", "{\"table\": [[0, 0], [10, 1], [20, 0.5]]}", "go on rising"},
    {"{\"factor\": 0.001}", "{\"factor\": 2, \"table\": [[0, 0], [10, 1]]}", "either"},
    {"{\"factor\": 0.001}", "{\"factr\": 0.001}", "factor"},
    {"\"plausible\": {\"low\": \"-0.5 bar\", \"high\": \"10 bar\"},", "", "plausible"},
    {"\"high\": \"10 bar\"", "\"high\": \"-1 bar\"", "above"},
    {"\"high\": \"10 bar\"", "\"high\": \"10 mA\"", "pressure"},
    {"\"resolution\": \"0.001 bar\"", "\"resolution\": \"-0.001 bar\"", "0 or more"},
    {"\"stale after\": \"0.3 s\"", "\"stale after\": \"39 ms\"", "two sampling intervals, 0.04 s"},
    {"\"date\": \"2026-02-01\"", "\"date\": \"2026-02-30\"", "day of the calendar"},
    {"\"date\": \"2026-02-01\"", "\"date\": \"01.02.2026\"", "day of the calendar"},
    {"\"due\": \"2099-02-01\"", "\"due\": \"2025-02-01\"", "not before"},
    {"\"U\": \"0.002 bar\"", "\"U\": \"2 %\"", "pressure"},
    {"[5, 0.02]", "[-5, 0.02]", "rises"},
    {"[5, 0.02]", "[5, -7]", "still rises"},
    {"\"register\": 2}}", "\"register\": 3}}", "address of its own"},
    {"\"read back\": {\"role\": \"loop current\"", "\"read back\": {\"role\": \"loop voltage\"",
     "same dimension"},
    {"{\"role\": \"loop demand\", \"highest\": \"22 mA\", \"lowest\": \"0 mA\"}",
     "{\"role\": \"loop demand\", \"highest\": \"22 mA\"}", "lowest"},
    {"\"highest\": \"22 mA\", \"lowest\": \"0 mA\"", "\"highest\": \"22 mA\", \"lowest\": \"30 mA\"",
     "above"},
    {",\n   {\"role\": \"loop demand\", \"highest\": \"22 mA\", \"lowest\": \"0 mA\"}", "", "a ceiling"},
    {"\"slew\": \"100 bar/s\"", "\"slew\": \"100 bar\"", "pressure"},
    {"\"slew\": \"100 bar/s\"", "\"slew\": \"0 bar/s\"", "above 0"},
    {"{\"role\": \"supply valve\", \"value\": 0, ", "{\"role\": \"supply valve\", \"value\": 1, ", "shut"},
    {"{\"role\": \"output 1 vent valve\", \"value\": 1}",
     "{\"role\": \"output 1 vent valve\", \"value\": 0.5}", "0 or 1"},
    {"{\"role\": \"loop demand\", \"value\": \"0 mA\"}", "{\"role\": \"loop demand\", \"value\": \"23 mA\"}",
     "ceiling"},
    {"{\"role\": \"loop demand\", \"value\": \"0 mA\"}", "{\"role\": \"loop current\", \"value\": \"0 mA\"}",
     "output"},
    {",\n   {\"role\": \"loop demand\", \"value\": \"0 mA\"}", "", "safe state"},
    {"\"within\": \"2 s\"", "\"within\": \"50 ms\", \"much\": 1", "much"},
    {"\"wait\": \"20 ms\"", "\"wait\": \"5 s\"", "waits"},
    {"\"uncertainty\": \"2 cm3\"", "\"uncertainty\": \"2 bar\"", "volume"},
    {"\"facts\":", "\"watchdog\": {\"period\": \"1 s\"}, \"facts\":", "watchdog"},
};

static char *alter(const struct fault *f)
{
    const char *at = strstr(SMALL_BENCH, f->from);
    cr_assert_not_null(at, "test's own text is not there: %s", f->from);
    char *out = malloc(sizeof SMALL_BENCH + strlen(f->to) + 1);
    size_t head = (size_t)(at - SMALL_BENCH);
    memcpy(out, SMALL_BENCH, head);
    strcpy(out + head, f->to);
    strcat(out, at + strlen(f->from));
    return out;
}

Test(bench_reader, each_fault_is_found)
{
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        struct es_findings f = {0};
        struct es_bench *b = NULL;
        char *text = alter(&faults[i]);
        cr_assert_eq(read_text(text, &f, &b), ES_BAD_INPUT, "accepted: %s", faults[i].to);
        cr_assert_null(b);
        bool told = false;
        for (size_t k = 0; k < f.count; k++) {
            told |= strstr(f.items[k].expected, faults[i].expected) != NULL ||
                    strstr(f.items[k].found, faults[i].expected) != NULL ||
                    strstr(f.items[k].advice, faults[i].expected) != NULL;
            cr_assert(f.items[k].line > 0 && f.items[k].column > 0);
        }
        if (!told) {
            es_findings_print(&f, stderr);
        }
        cr_expect(told, "no finding says \"%s\" for %s", faults[i].expected, faults[i].to);
        es_findings_free(&f);
        free(text);
    }
}

Test(bench_reader, all_faults_at_once_with_their_lines)
{
    static const char *const from[] = {"\"unit\": \"bar\", \"scale\"", "\"date\": \"2026-02-01\"",
                                       "{\"role\": \"supply valve\", \"value\": 0, ",
                                       "\"highest\": \"22 mA\", \"lowest\": \"0 mA\""};
    static const char *const to[] = {"\"unit\": \"mA\", \"scale\"", "\"date\": \"2026-13-01\"",
                                     "{\"role\": \"supply valve\", \"value\": 7, ",
                                     "\"highest\": \"22 V\", \"lowest\": \"0 mA\""};
    char *text = strdup(SMALL_BENCH);
    unsigned lines[4];
    for (size_t i = 0; i < 4; i++) {
        char *at = strstr(text, from[i]);
        cr_assert_not_null(at);
        lines[i] = 1;
        for (const char *p = text; p < at; p++) {
            lines[i] += *p == '\n';
        }
        char *next = malloc(strlen(text) + 100);
        *at = 0;
        sprintf(next, "%s%s%s", text, to[i], at + strlen(from[i]));
        free(text);
        text = next;
    }
    struct es_findings f = {0};
    struct es_bench *b;
    cr_assert_eq(read_text(text, &f, &b), ES_BAD_INPUT);
    for (size_t i = 0; i < 4; i++) {
        bool found = false;
        for (size_t k = 0; k < f.count; k++) {
            found |= f.items[k].line == lines[i];
        }
        if (!found) {
            es_findings_print(&f, stderr);
        }
        cr_expect(found, "no finding on line %u (%s)", lines[i], to[i]);
    }
    es_findings_free(&f);
    free(text);
}

Test(bench_reader, days_left_over_leap_years)
{
    struct es_calibration cal = {.number = "x", .due = "2028-03-01"};
    /* 2028 is a leap year (ISO 8601 / Gregorian rule): 29 February lies between. */
    cr_assert_eq(es_calibration_days_left(&cal, "2028-02-28"), 2);
    cr_assert_eq(es_calibration_days_left(&cal, "2027-02-28T10:00:00Z"), 367);
    cr_assert_eq(es_calibration_days_left(&cal, "2028-03-02"), -1);
}
