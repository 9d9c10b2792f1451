/* How well the bench repeats itself: from tests of one unit in one state, shortly after one another.
 *
 * Tests of a unit form a group as long as its state stays the same and no more than so many days lie between
 * two of them (common practice, no published source: nothing was done to the unit). Repeatability is pooled
 * over all (group, condition) with at least two tests. Where at least two groups have at least two tests
 * under each of at least two conditions, these are a crossed study, cut to as many repeats as all of them
 * have. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "results/archive/question_parts.h"
#include "results/statistics/statistics.h"

#define CONDITIONS_MAX 512

enum { SERIAL, TYPE, STATE, PROCEDURE, UNIT, ISSUED, BENCH, STATION, PERSON, VALUE };

struct test {
    size_t group, condition;
    double value;
};

struct tests {
    const char *by;
    double within; /* s */
    struct test *items;
    size_t count, capacity, groups;
    char conditions[CONDITIONS_MAX][128];
    size_t condition_count;
    char last[5][128]; /* of the test before: SERIAL to UNIT */
    time_t last_time;
};

static const char *plural_of(const char *by)
{
    return strcmp(by, "person") == 0    ? "persons"
           : strcmp(by, "station") == 0 ? "stations"
           : strcmp(by, "bench") == 0   ? "benches"
                                        : "days";
}

/* 0: no time. */
static time_t time_of(const char *text)
{
    struct tm tm = {0};
    return strptime(text, "%Y-%m-%dT%H:%M:%S", &tm) ? timegm(&tm) : 0;
}

static void name_condition(const struct tests *t, const struct es_value *c, char out[static 128])
{
    if (strcmp(t->by, "person") == 0) {
        (void)snprintf(out, 128, "%s", es_column_text(&c[PERSON]));
    } else if (strcmp(t->by, "station") == 0) {
        (void)snprintf(out, 128, "%.60s, station %.40s", es_column_text(&c[BENCH]),
                       es_column_text(&c[STATION]));
    } else if (strcmp(t->by, "bench") == 0) {
        (void)snprintf(out, 128, "%s", es_column_text(&c[BENCH]));
    } else {
        (void)snprintf(out, 128, "%.10s", es_column_text(&c[ISSUED]));
    }
}

static enum es_status find_condition(struct tests *t, const struct es_value *c, size_t *at,
                                     struct es_error *err)
{
    char name[128];
    name_condition(t, c, name);
    for (*at = 0; *at < t->condition_count; (*at)++) {
        if (strcmp(t->conditions[*at], name) == 0) {
            return ES_OK;
        }
    }
    if (t->condition_count == CONDITIONS_MAX) {
        return es_fail(err, ES_RANGE, "the tests are spread over more than %d %s: choose by --since or --by",
                       CONDITIONS_MAX, plural_of(t->by));
    }
    memcpy(t->conditions[t->condition_count++], name, sizeof name);
    return ES_OK;
}

static bool begins_group(struct tests *t, const struct es_value *c)
{
    time_t when = time_of(es_column_text(&c[ISSUED]));
    bool same = t->count > 0 && difftime(when, t->last_time) <= t->within;
    for (size_t i = SERIAL; i <= UNIT; i++) {
        same = same && strcmp(t->last[i], es_column_text(&c[i])) == 0;
        (void)snprintf(t->last[i], sizeof t->last[i], "%s", es_column_text(&c[i]));
    }
    t->last_time = when;
    return !same;
}

static enum es_status take_test(void *self, const struct es_value *columns, size_t count,
                                struct es_error *err)
{
    struct tests *t = self;
    (void)count;
    if (t->count > 0 && (strcmp(t->last[UNIT], es_column_text(&columns[UNIT])) != 0 ||
                         strcmp(t->last[PROCEDURE], es_column_text(&columns[PROCEDURE])) != 0)) {
        return es_fail(err, ES_USAGE,
                       "several procedures or units have this measurand (%s in %s, %s in %s): choose by "
                       "--procedure or --type",
                       t->last[PROCEDURE], t->last[UNIT], es_column_text(&columns[PROCEDURE]),
                       es_column_text(&columns[UNIT]));
    }
    if (t->count == t->capacity) {
        size_t more = t->capacity ? t->capacity * 2 : 64;
        struct test *grown = reallocarray(t->items, more, sizeof *grown);
        if (!grown) {
            return es_fail(err, ES_NO_MEMORY, "no memory for the repeated tests");
        }
        t->items = grown;
        t->capacity = more;
    }
    struct test test = {.value = es_column_real(&columns[VALUE])};
    t->groups += begins_group(t, columns);
    test.group = t->groups - 1;
    enum es_status st = find_condition(t, columns, &test.condition, err);
    if (st == ES_OK) {
        t->items[t->count++] = test;
    }
    return st;
}

/* ---- Cells: how many tests of a group under a condition ---- */

static size_t *count_cells(const struct tests *t)
{
    size_t *cells = calloc(t->groups * t->condition_count, sizeof *cells);
    for (size_t i = 0; cells && i < t->count; i++) {
        cells[t->items[i].group * t->condition_count + t->items[i].condition]++;
    }
    return cells;
}

/* Values cell by cell, in the order of the cells; to be freed. */
static double *sort_values(const struct tests *t, const size_t *cells)
{
    double *values = calloc(t->count, sizeof *values);
    size_t *next = calloc(t->groups * t->condition_count, sizeof *next);
    if (values && next) {
        for (size_t i = 1; i < t->groups * t->condition_count; i++) {
            next[i] = next[i - 1] + cells[i - 1];
        }
        for (size_t i = 0; i < t->count; i++) {
            values[next[t->items[i].group * t->condition_count + t->items[i].condition]++] =
                t->items[i].value;
        }
    } else {
        free(values);
        values = NULL;
    }
    free(next);
    return values;
}

/* ---- The crossed study ---- */

struct crossed {
    bool *group, *condition; /* taking part */
    size_t groups, conditions, repeats;
};

static bool has_all(const struct tests *t, const size_t *cells, const bool *wanted, size_t group)
{
    for (size_t c = 0; c < t->condition_count; c++) {
        if (wanted[c] && cells[group * t->condition_count + c] < 2) {
            return false;
        }
    }
    return true;
}

static size_t groups_with(const struct tests *t, const size_t *cells, const bool *wanted)
{
    size_t n = 0;
    for (size_t g = 0; g < t->groups; g++) {
        n += has_all(t, cells, wanted, g);
    }
    return n;
}

/* Conditions are added one after the other, each time the one that keeps most groups, as long as the study
 * grows by it. */
static void choose(const struct tests *t, const size_t *cells, struct crossed *x)
{
    bool wanted[CONDITIONS_MAX] = {false};
    size_t best_size = 0, chosen = 0;
    for (; chosen < t->condition_count; chosen++) {
        size_t most = 0, which = 0;
        for (size_t c = 0; c < t->condition_count; c++) {
            if (!wanted[c]) {
                wanted[c] = true;
                size_t n = groups_with(t, cells, wanted);
                wanted[c] = false;
                which = n > most ? c : which;
                most = n > most ? n : most;
            }
        }
        if (most < 2) {
            return;
        }
        wanted[which] = true;
        if (chosen >= 1 && most * (chosen + 1) > best_size) {
            best_size = most * (chosen + 1);
            memcpy(x->condition, wanted, t->condition_count * sizeof *wanted);
            x->conditions = chosen + 1;
            x->groups = most;
        }
    }
}

/* Table of values as es_repeatability_crossed takes it; NULL: no memory. */
static double *crossed_values(const struct tests *t, const size_t *cells, const double *values,
                              struct crossed *x)
{
    x->repeats = SIZE_MAX;
    for (size_t g = 0; g < t->groups; g++) {
        x->group[g] = has_all(t, cells, x->condition, g);
        for (size_t c = 0; c < t->condition_count; c++) {
            size_t n = cells[g * t->condition_count + c];
            x->repeats = x->group[g] && x->condition[c] && n < x->repeats ? n : x->repeats;
        }
    }
    double *table = calloc(x->groups * x->conditions * x->repeats, sizeof *table);
    size_t at = 0, from = 0;
    for (size_t i = 0; table && i < t->groups * t->condition_count; from += cells[i], i++) {
        if (x->group[i / t->condition_count] && x->condition[i % t->condition_count]) {
            memcpy(table + at, values + from, x->repeats * sizeof *table);
            at += x->repeats;
        }
    }
    return table;
}

/* ---- The answer ---- */

static const struct es_answer_column columns[] = {ES_COLUMN("quantity", "quantity"),
                                                  ES_COLUMN_NUMBER("value", "value"),
                                                  ES_COLUMN("unit", "unit"), ES_COLUMN("note", "note")};

static enum es_status say(struct es_answer *a, const char *quantity, double value, const char *unit,
                          const char *note, struct es_error *err)
{
    char text[32];
    const char *cells[] = {quantity, es_answer_text_of(value, text), unit, note};
    return es_answer_add(a, cells, err);
}

static enum es_status say_crossed(struct es_answer *a, const struct tests *t,
                                  const struct es_repeatability *r, struct es_error *err)
{
    const char *unit = t->last[UNIT];
    char study[128];
    (void)snprintf(study, sizeof study, "%zu units, %zu %s, %zu repeats each", r->units, r->conditions,
                   plural_of(t->by), r->repeats);
    const struct {
        const char *quantity;
        double value;
        const char *unit, *note;
    } rows[] = {{"crossed study: mean", r->mean, unit, study},
                {"crossed study: repeatability", r->repeatability, unit, "standard deviation"},
                {"crossed study: reproducibility", r->reproducibility, unit,
                 "standard deviation, between conditions and of how they act on each unit"},
                {"crossed study: both together", r->both, unit, "standard deviation of the bench"},
                {"crossed study: between units", r->between_units, unit, "standard deviation"},
                {"crossed study: bench's share", r->share, "", "of all variance, 0 to 1"}};
    enum es_status st = ES_OK;
    for (size_t i = 0; i < ES_COUNT(rows) && st == ES_OK; i++) {
        st = say(a, rows[i].quantity, rows[i].value, rows[i].unit, rows[i].note, err);
    }
    return st;
}

static enum es_status study(const struct tests *t, const size_t *cells, const double *values,
                            struct es_answer *a, struct es_error *err)
{
    bool in_study[CONDITIONS_MAX] = {false};
    struct crossed x = {.condition = in_study, .group = calloc(t->groups, sizeof *x.group)};
    struct es_repeatability r;
    enum es_status st = x.group ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the study");
    if (st == ES_OK) {
        choose(t, cells, &x);
    }
    if (st == ES_OK && x.groups < 2) {
        char note[160];
        (void)snprintf(note, sizeof note, "needs two units, each tested at least twice under the same two %s",
                       plural_of(t->by));
        st = say(a, "reproducibility", NAN, "", note, err);
    } else if (st == ES_OK) {
        double *table = crossed_values(t, cells, values, &x);
        st = table ? es_repeatability_crossed(table, x.groups, x.conditions, x.repeats, &r, err)
                   : es_fail(err, ES_NO_MEMORY, "no memory for the study");
        free(table);
        st = st == ES_OK ? say_crossed(a, t, &r, err) : st;
    }
    free(x.group);
    return st;
}

static enum es_status answer(const struct tests *t, struct es_answer *a, struct es_error *err)
{
    size_t *cells = count_cells(t);
    double *values = cells ? sort_values(t, cells) : NULL;
    size_t dof = 0;
    char note[160];
    enum es_status st = values ? ES_OK : es_fail(err, ES_NO_MEMORY, "no memory for the repeated tests");
    double pooled =
        values ? es_repeatability_pooled(values, cells, t->groups * t->condition_count, &dof) : NAN;
    if (st == ES_OK && dof > 0) {
        (void)snprintf(note, sizeof note,
                       "standard deviation, %zu degrees of freedom; within one %s, %zu tests of %zu visits",
                       dof, t->by, t->count, t->groups);
        st = say(a, "repeatability, pooled", pooled, t->last[UNIT], note, err);
        st = st == ES_OK ? study(t, cells, values, a, err) : st;
    }
    free(values);
    free(cells);
    return st;
}

static bool is_condition(const char *by)
{
    return strcmp(by, "day") == 0 || strcmp(by, "person") == 0 || strcmp(by, "station") == 0 ||
           strcmp(by, "bench") == 0;
}

static enum es_status ask(struct es_archive *archive, const struct es_question *q, struct es_answer *a,
                          struct es_error *err)
{
    struct es_value values[ES_SERIES_FILTERS];
    const char *by = q->by ? q->by : "day";
    if (!q->measurand) {
        return es_fail(err, ES_USAGE, "repeatability of which measurand?");
    }
    if (!is_condition(by)) {
        return es_fail(err, ES_USAGE, "repeated tests differ by day, person, station or bench, not by \"%s\"",
                       by);
    }
    struct tests *t = calloc(1, sizeof *t);
    if (!t) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the repeated tests");
    }
    t->by = by;
    t->within = 86400.0 * (q->within > 0 ? q->within : 7);
    es_question_series(q, values);
    enum es_status st =
        es_database_run(&archive->db, ES_SQL_REPEATED, values, ES_SERIES_FILTERS, take_test, t, NULL, err);
    if (st == ES_OK && t->count > 0) {
        st = answer(t, a, err);
    }
    free(t->items);
    free(t);
    return st;
}

const struct es_question_row es_question_repeatability = {columns, ES_COUNT(columns), ask};
