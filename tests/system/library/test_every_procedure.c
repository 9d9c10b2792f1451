/* Every shipped procedure on every shipped type that it is for: a good unit passes, a unit with the named
 * fault does not, and it is the named line that says so. In virtual time. docs/virtual-bench.md has the
 * table. */
#include <criterion/criterion.h>
#include <criterion/parameterized.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/file.h"
#include "tests/system/library/virtual_run.h"

static const char *const complete[] = {"linear-single-acting",    "linear-single-acting-plain",
                                       "linear-double-acting",    "part-turn-single-acting",
                                       "part-turn-double-acting", NULL};
static const char *const modules[] = {"relay-module-single-acting", "relay-module-double-acting", NULL};
static const char *const blocks[] = {"self-proof-block", NULL};

static const struct row {
    const char *procedure;
    const char *const *types;
    const char *fault; /* NULL: no fault of such a unit shows here */
    double severity, per_stroke;
    const char *line[2]; /* that fails; single-, double-acting */
    enum es_verdict
        verdict;       /* of that line, and of the unit; not tested: or fail, kept from passing anyhow */
    bool after_stroke; /* errors are shares of the travel that the stroke found */
} rows[] = {
    {"bench-self-proof",
     blocks,
     "fitting leaks on output 1",
     0.15,
     0,
     {"", "bench's own leak at output 1"},
     ES_FAIL,
     false},
    {"loop-and-supply",
     complete,
     "electronics dead",
     1,
     0,
     {"terminal voltage at the highest current", "terminal voltage at the highest current"},
     ES_FAIL,
     false},
    {"loop-and-supply", modules, NULL, 0, 0, {NULL, NULL}, ES_FAIL, false},
    {"sensor-sweep",
     complete,
     "coupling slack",
     0.5,
     0,
     {"sensor hysteresis", "sensor hysteresis"},
     ES_FAIL,
     false},
    {"relay-leak",
     complete,
     "relay seat leaks to output 1",
     0.3,
     0,
     {"leak of output 1 at nominal supply", "leak of output 1 at nominal supply"},
     ES_FAIL,
     false},
    {"relay-leak",
     modules,
     "relay seat leaks to output 1",
     0.3,
     0,
     {"leak of output 1 at nominal supply", "leak of output 1 at nominal supply"},
     ES_FAIL,
     false},
    {"relay-direction",
     complete,
     "outputs crossed",
     1,
     0,
     {"flow of output 1, driven down", "flow of the other output"},
     ES_FAIL,
     false},
    {"relay-module-direction",
     modules,
     "coil weak",
     0.9,
     0,
     {"flow of output 1, driven up", "flow of the driven output"},
     ES_FAIL,
     false},
    {"held-pressure",
     complete,
     "seal to atmosphere cut",
     0.3,
     0,
     {"leak back of output 1", "leak back of output 1"},
     ES_FAIL,
     false},
    {"relay-capacity",
     complete,
     "nozzle partly blocked",
     0.7,
     0,
     {"flow delivered by output 1", "flow delivered by output 1"},
     ES_FAIL,
     false},
    {"relay-capacity",
     modules,
     "nozzle partly blocked",
     0.7,
     0,
     {"flow delivered by output 1", "flow delivered by output 1"},
     ES_FAIL,
     false},
    {"stroke",
     complete,
     "lever not parallel",
     0.5,
     0,
     {"asymmetry of the shaft angle", "asymmetry of the shaft angle"},
     ES_FAIL,
     false},
    {"actuator",
     complete,
     "diaphragm leaking",
     0.5,
     0,
     {"pressure held in the actuator", "pressure held in the actuator"},
     ES_FAIL,
     false},
    {"step-response",
     complete,
     "nozzle partly blocked",
     0.8,
     0,
     {"overshoot about 50 %", "overshoot about 50 %"},
     ES_FAIL,
     true},
    {"staircase",
     complete,
     "coupling slack",
     0.6,
     0,
     {"hysteresis of the travel", "hysteresis of the travel"},
     ES_FAIL,
     true},
    {"dead-band", /* half of such units hunt so that they never rest between the steps */
     complete,
     "spool sticking",
     0.3,
     0,
     {"dead band about 50 %", "dead band about 50 %"},
     ES_NOT_TESTED,
     false},
    {"supply-influence",
     complete,
     "diaphragm leaking",
     1,
     0,
     {"change of travel at minimum supply", "change of travel at minimum supply"},
     ES_FAIL,
     false},
    {"loss-of-supplies",
     complete,
     "seal to atmosphere cut",
     0.5,
     0,
     {"travel after loss of signal", "travel after loss of signal"},
     ES_FAIL,
     false},
    {"self-adjustment",
     complete,
     "self-adjustment never ends",
     1,
     0,
     {"self-adjustment came to an end", "self-adjustment came to an end"},
     ES_FAIL,
     false},
    {"endurance",
     complete,
     "coupling slack",
     0.01,
     0.004,
     {"drift at half travel", "drift at half travel"},
     ES_FAIL,
     false},
};
#define ROWS (sizeof rows / sizeof rows[0])

static void copy_file(const char *folder, const char *name)
{
    char from[512], to[512], *bytes;
    size_t length;
    struct es_error err;

    (void)snprintf(from, sizeof from, LIBRARY "%s.json", name);
    (void)snprintf(to, sizeof to, "%s/%s.json", folder, name);
    cr_assert_eq(es_file_read(NULL, from, 1 << 20, &bytes, &length, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_file_write(NULL, to, ES_FILE_NEW, 0600, bytes, length, &err), ES_OK, "%s", err.text);
    free(bytes);
}

/* A plan of the stroke, which tells where the ends are, and the procedure. */
static void write_plan(const char *folder, const char *procedure, char *path, size_t size)
{
    (void)snprintf(path, size, "%s/both.plan.json", folder);
    copy_file(folder, "stroke");
    copy_file(folder, procedure);
    FILE *f = fopen(path, "w");
    cr_assert_not_null(f);
    fprintf(
        f,
        "{\"endstop\": \"plan/1\", \"name\": \"both\", \"version\": \"1\", \"title\": \"Both\", \"purpose\": "
        "\"Tests.\", \"procedures\": [{\"procedure\": \"stroke\"}, {\"procedure\": \"%s\"}]}",
        procedure);
    cr_assert_eq(fclose(f), 0);
}

static void remove_folder(const char *folder, const char *procedure)
{
    const char *const names[] = {"stroke", procedure, "both.plan"};
    char path[512];

    for (size_t i = 0; i < 3; i++) {
        (void)snprintf(path, sizeof path, "%s/%s.json", folder, names[i]);
        cr_expect_eq(remove(path), 0, "%s", path);
    }
    cr_expect_eq(rmdir(folder), 0);
}

static void run_row(const struct row *r, const char *type, bool faulty, struct virtual_run *x)
{
    char path[512], folder[] = "/tmp/endstop-every-XXXXXX";

    (void)snprintf(path, sizeof path, LIBRARY "%s.json", r->procedure);
    if (r->after_stroke) {
        cr_assert_not_null(mkdtemp(folder));
        write_plan(folder, r->procedure, path, sizeof path);
    }
    virtual_run_make(x, &(struct virtual_case){.type = type,
                                               .plan = path,
                                               .seed = 3,
                                               .attended = true,
                                               .fault = faulty ? r->fault : NULL,
                                               .severity = faulty ? r->severity : 0,
                                               .per_stroke = faulty ? r->per_stroke : 0});
    virtual_run(x, NULL);
    if (r->after_stroke)
        remove_folder(folder, r->procedure);
}

static void good_passes(const struct row *r, const char *type)
{
    struct virtual_run x;

    run_row(r, type, false, &x);
    cr_expect_eq(x.outcome.verdict, ES_PASS, "%s on %s: %s", r->procedure, type,
                 es_verdict_word(x.outcome.verdict));
    if (x.outcome.verdict != ES_PASS)
        virtual_show(&x, false);
    virtual_run_free(&x);
}

static bool as_expected(enum es_verdict is, enum es_verdict wanted)
{
    return is == wanted || (wanted == ES_NOT_TESTED && is == ES_FAIL);
}

static void faulty_does_not(const struct row *r, const char *type)
{
    struct virtual_run x;

    run_row(r, type, true, &x);
    const char *name = r->line[x.type->action == ES_DOUBLE_ACTING];
    const struct es_line *l = virtual_line(&x, name);
    cr_expect(l != NULL && as_expected(l->verdict, r->verdict), "%s on %s with %s: \"%s\": %s", r->procedure,
              type, r->fault, name, l == NULL ? "no such line" : es_verdict_word(l->verdict));
    cr_expect(as_expected(x.outcome.verdict, r->verdict), "%s on %s with %s: %s", r->procedure, type,
              r->fault, es_verdict_word(x.outcome.verdict));
    if (l == NULL || !as_expected(l->verdict, r->verdict))
        virtual_show(&x, true);
    virtual_run_free(&x);
}

ParameterizedTestParameters(every_procedure, on_every_type)
{
    static size_t indices[ROWS];
    for (size_t i = 0; i < ROWS; i++)
        indices[i] = i;
    return cr_make_param_array(size_t, indices, ROWS);
}

ParameterizedTest(const size_t *index, every_procedure, on_every_type)
{
    const struct row *r = &rows[*index];
    for (size_t t = 0; r->types[t] != NULL; t++) {
        good_passes(r, r->types[t]);
        if (r->fault != NULL)
            faulty_does_not(r, r->types[t]);
    }
}
