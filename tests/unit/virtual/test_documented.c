/* docs/virtual-bench.md says of every fault what it does, where it shows, from which severity it matters and
 * why. Here that is held against the table of faults, against the study's notes, and against what the
 * instruments say. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/study/notes.h"
#include "tests/unit/virtual/exercise.h"

#define PAGE    ES_SOURCE_DIR "/docs/virtual-bench.md"
#define ROW_MAX 1200
#define CELLS   5
#define GOODS   9
#define SEEN    4.0 /* scatters: farther apart than good units are */
#define SEED    79

enum { NAME, MEANING, SHOWS, MATTERS, BECAUSE };

struct row {
    char text[ROW_MAX];
    char *cells[CELLS];
};

/* "| a | b | ... |" into its cells, without the blanks around them. */
static bool split(struct row *row)
{
    char *at = row->text;
    for (int i = 0; i < CELLS; i++) {
        if (*at++ != '|' || *at++ != ' ') {
            return false;
        }
        row->cells[i] = at;
        at = strstr(at, " |");
        if (!at) {
            return false;
        }
        *at++ = '\0';
    }
    return true;
}

/* The rows about faults; `rows` has one for each fault. */
static void read_page(struct row *rows)
{
    FILE *f = fopen(PAGE, "r");
    struct row row;
    cr_assert(f, "no %s", PAGE);
    while (fgets(row.text, sizeof row.text, f)) {
        const int fault = split(&row) ? es_virtual_fault_find(row.cells[NAME]) : -1;
        if (fault < 0) {
            continue;
        }
        cr_expect_null(rows[fault].cells[NAME], "two rows for \"%s\"", row.cells[NAME]);
        memcpy(rows[fault].text, row.text, sizeof row.text);
        for (int i = 0; i < CELLS; i++) {
            rows[fault].cells[i] = rows[fault].text + (row.cells[i] - row.text);
        }
    }
    cr_assert_eq(fclose(f), 0);
}

static struct row *page(void)
{
    struct row *rows = calloc(es_virtual_fault_count(), sizeof *rows);
    cr_assert(rows);
    read_page(rows);
    for (int f = 0; f < (int)es_virtual_fault_count(); f++) {
        cr_assert(rows[f].cells[NAME], "docs/virtual-bench.md has no row for the fault \"%s\"",
                  es_virtual_fault_get(f)->name);
    }
    return rows;
}

Test(documented, the_page_says_what_the_tables_say)
{
    struct row *rows = page();
    for (int f = 0; f < (int)es_virtual_fault_count(); f++) {
        const struct es_virtual_fault *fault = es_virtual_fault_get(f);
        const struct es_fault_note *note = es_fault_note(fault->name);
        char matters[32] = "any";
        if (note->matters > 0) {
            snprintf(matters, sizeof matters, "%g", note->matters);
        }
        cr_expect_str_eq(rows[f].cells[NAME], fault->name);
        cr_expect_str_eq(rows[f].cells[MEANING], fault->meaning);
        cr_expect_str_eq(rows[f].cells[MATTERS], matters, "%s: rig/study/notes.c says %s, the page %s",
                         fault->name, matters, rows[f].cells[MATTERS]);
        cr_expect_str_eq(rows[f].cells[BECAUSE], note->because, "%s", fault->name);
    }
    free(rows);
}

/* The roles named in `marks` in a cell, one after the other; ES_ROLE_NONE after the last. */
static enum es_role next_role(const char **at)
{
    char name[64];
    const char *begin = strchr(*at, '`');
    const char *end = begin ? strchr(begin + 1, '`') : NULL;
    if (!end || (size_t)(end - begin) > sizeof name) {
        return ES_ROLE_NONE;
    }
    memcpy(name, begin + 1, (size_t)(end - begin - 1));
    name[end - begin - 1] = '\0';
    *at = end + 1;
    const enum es_role role = es_role_find(name);
    cr_expect(role != ES_ROLE_NONE, "docs/virtual-bench.md: \"%s\" is no role", name);
    return role;
}

static const enum es_virtual_type types[] = {ES_VIRTUAL_LINEAR_SINGLE_ACTING,
                                             ES_VIRTUAL_PART_TURN_DOUBLE_ACTING};

struct comparison {
    struct good_units good[2];
    struct exercise same[2]; /* the unit without its fault */
};

static double apart(const struct comparison *c, int type, const struct exercise *x, enum es_role role)
{
    return exercise_distance(&c->good[type], x, &c->same[type], role);
}

/* In every type that can have it, the fault shows in one of the roles at least; each of them shows it in one
 * type at least. */
static void check_shown(const struct comparison *c, int fault, const char *cell)
{
    static struct exercise x[2];
    const struct es_fault_note *note = es_fault_note(es_virtual_fault_get(fault)->name);
    bool shown[ES_ROLE_COUNT] = {false};
    for (int type = 0; type < 2; type++) {
        if (!es_virtual_fault_possible(fault, types[type])) {
            continue;
        }
        double largest = 0;
        exercise_run(types[type], SEED, fault, fmax(note->matters, 0.01), &x[type]);
        const char *at = cell;
        for (enum es_role role = next_role(&at); role != ES_ROLE_NONE; role = next_role(&at)) {
            const double d = apart(c, type, &x[type], role);
            shown[role] |= d >= SEEN;
            largest = fmax(largest, d);
        }
        cr_expect(largest >= SEEN, "\"%s\" at %g does not show where the page says (%s): %g", note->fault,
                  note->matters, es_virtual_type_name(types[type]), largest);
    }
    const char *at = cell;
    for (enum es_role role = next_role(&at); role != ES_ROLE_NONE; role = next_role(&at)) {
        cr_expect(shown[role], "\"%s\" at %g does not show in \"%s\"", note->fault, note->matters,
                  es_role_info(role)->name);
    }
    if (strstr(cell, " only")) { /* the first roles, and nowhere else */
        for (int role = 0; role < ES_ROLE_COUNT; role++) {
            const bool named = strstr(cell, es_role_info((enum es_role)role)->name);
            cr_expect(named || apart(c, 1, &x[1], (enum es_role)role) == 0, "\"%s\" shows in \"%s\", too",
                      note->fault, es_role_info((enum es_role)role)->name);
        }
    }
}

Test(documented, every_fault_shows_where_the_page_says_from_the_severity_that_matters)
{
    static struct comparison c;
    struct row *rows = page();
    const int without_value = es_virtual_fault_find("slow bus"); /* tests/system/bench */
    for (int type = 0; type < 2; type++) {
        good_units_make(types[type], GOODS, &c.good[type]);
        exercise_run(types[type], SEED, -1, 0, &c.same[type]);
    }
    for (int f = 0; f < (int)es_virtual_fault_count(); f++) {
        if (f != without_value) {
            check_shown(&c, f, rows[f].cells[SHOWS]);
        }
    }
    for (int type = 0; type < 2; type++) {
        good_units_free(&c.good[type]);
    }
    free(rows);
}

/* Else "shows" would mean nothing. */
Test(documented, good_units_do_not_differ_that_much_from_the_middle_one)
{
    struct good_units good;
    static struct exercise x;
    int far = 0;
    good_units_make(ES_VIRTUAL_PART_TURN_DOUBLE_ACTING, GOODS, &good);
    for (uint64_t seed = 200; seed < 204; seed++) {
        exercise_run(ES_VIRTUAL_PART_TURN_DOUBLE_ACTING, seed, -1, 0, &x);
        double nearest = INFINITY;
        for (int i = 0; i < good.count; i++) {
            double largest = 0;
            for (int role = 0; role < ES_ROLE_COUNT; role++) {
                largest = fmax(largest, exercise_distance(&good, &x, &good.each[i], (enum es_role)role));
            }
            nearest = fmin(nearest, largest);
        }
        far += nearest >= 2 * SEEN;
    }
    cr_expect_eq(far, 0, "%d of 4 good units lie far from every other", far);
    good_units_free(&good);
}
