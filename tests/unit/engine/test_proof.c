/* The proof held against runs: every way to command a value, in every surrounding, is refused above every
 * ceiling; and what the proof accepts of some thousand made-up procedures never writes beyond a ceiling or a
 * slew limit and never outlasts its longest duration. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/engine/documents.h"
#include "tests/unit/engine/fake_bench.h"

struct bench {
    struct es_type *type;
    struct fake_bench *b;
};

static struct bench make_bench(void)
{
    struct bench x = {.type = load_type("linear-single-acting")};

    x.b = fake_bench_new(x.type);
    return x;
}

static void free_bench(struct bench *x)
{
    fake_bench_free(x->b);
    es_type_free(x->type);
}

/* ---- Every way, everywhere ---- */

/* @: the value; each way is proved with a value below the ceiling too, or its refusal would prove nothing.
 */
static const char *const ways_of_loop[] = {
    "{\"do\": \"set\", \"role\": \"loop demand\", \"to\": \"@\"}",
    "{\"do\": \"ramp\", \"role\": \"loop demand\", \"to\": \"@\", \"at\": \"9 mA/s\"}",
    "{\"do\": \"step\", \"role\": \"loop demand\", \"through\": [\"5 mA\", \"@\", \"5 mA\"], \"hold\": \"1 "
    "s\"}",
    "{\"do\": \"staircase\", \"role\": \"loop demand\", \"from\": \"5 mA\", \"to\": \"@\", \"stairs\": 3, "
    "\"hold\": \"1 s\"}",
    "{\"do\": \"staircase\", \"role\": \"loop demand\", \"from\": \"@\", \"to\": \"5 mA\", \"stairs\": 3, "
    "\"and back\": true, \"times\": 2, \"hold\": \"1 s\"}",
};
static const char *const ways_of_supply[] = {
    "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"@\"}",
    "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"@\", \"at\": \"1 bar/s\"}",
    "{\"do\": \"step\", \"role\": \"supply demand\", \"through\": [\"@\"], \"hold\": \"1 s\"}",
    "{\"do\": \"staircase\", \"role\": \"supply demand\", \"from\": \"0 bar\", \"to\": \"@\", \"stairs\": "
    "2, "
    "\"and back\": true, \"hold\": \"1 s\"}",
};
static const char *const ways_of_shaft[] = {
    "{\"do\": \"turn shaft\", \"to\": \"@\", \"at\": \"9 deg/s\", \"text\": \"t\", \"at most\": \"9 s\"}",
    "{\"do\": \"ramp\", \"role\": \"shaft drive\", \"to\": \"@\", \"at\": \"9 deg/s\", \"where fitted\": "
    "true}",
    "{\"do\": \"turn shaft\", \"to\": \"1 deg\", \"at\": \"9 deg/s\", \"text\": \"t\", \"at most\": \"9 s\"},"
    "{\"do\": \"sweep shaft\", \"from\": \"1 deg\", \"to\": \"@\", \"at\": \"9 deg/s\", \"times\": 1, "
    "\"text\": "
    "\"t\", \"at most\": \"9 s\"}",
};

/* @: the way. */
static const char *const surroundings[] = {
    "@",
    "{\"do\": \"repeat\", \"times\": 2, \"steps\": [@]}",
    "{\"do\": \"repeat\", \"times\": 2, \"steps\": [{\"do\": \"repeat\", \"times\": 3, \"steps\": [@]}]}",
    "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"steps\": [@]}",
    "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"steps\": "
    "[{\"do\": \"repeat\", \"times\": 2, \"steps\": [@]}]}",
    "{\"do\": \"repeat\", \"times\": 1, \"when\": \"linear\", \"steps\": [@]}",
    "{\"do\": \"wait\", \"role\": \"travel\", \"above\": \"1 mm\", \"at most\": \"1 s\", \"otherwise\": "
    "\"go on\"}, @",
    "{\"do\": \"skip the rest unless\", \"role\": \"guard\", \"near\": \"closed\", \"reason\": \"open\"}, @",
};

struct limit {
    const char *const *ways;
    size_t way_count;
    const char *inside, *outside, *words;
};

#define WAYS(list) (list), sizeof(list) / sizeof((list)[0])

/* The bench allows 7 bar, 22 mA, +-75 deg; the type 6.5 bar. Shares and names are values too. */
static const struct limit limits[] = {
    {WAYS(ways_of_loop), "21.9 mA", "22.1 mA", "the bench's ceiling"},
    {WAYS(ways_of_loop), "0.1 mA", "-0.1 mA", "the bench's floor"},
    {WAYS(ways_of_loop), "112 %", "113 %", "the bench's ceiling"},
    {WAYS(ways_of_loop), "loop high", "nominal supply", "a pressure; loop demand needs a current"},
    {WAYS(ways_of_supply), "6.5 bar", "6.51 bar", "the type sheet allows"},
    {WAYS(ways_of_supply), "650 kPa", "7.1 bar", "the bench's ceiling"},
    {WAYS(ways_of_supply), "0 bar", "-10 mbar", "the bench's floor"},
    {WAYS(ways_of_shaft), "75 deg", "75.1 deg", "the bench's ceiling"},
    {WAYS(ways_of_shaft), "-1.3 rad", "-1.32 rad", "the bench's floor"},
};

/* The frame with `value` in the place of its mark. */
static void put_in(char *out, size_t size, const char *frame, const char *value)
{
    const char *mark = strchr(frame, '@');

    cr_assert_not_null(mark);
    (void)snprintf(out, size, "%.*s%s%s", (int)(mark - frame), frame, value, mark + 1);
}

static void prove(const struct bench *x, const char *way, const char *around, const char *value,
                  const char *words)
{
    char step[800], steps[1600];
    struct es_findings f = {0};
    struct es_check_report report;
    struct es_error err;

    put_in(step, sizeof step, way, value);
    put_in(steps, sizeof steps, around, step);
    struct es_procedure *p = must_read(steps, "");
    const enum es_status s = es_procedure_check(p, &x->b->view, x->type, &f, &report, &err);
    if (words == NULL)
        cr_expect_eq(s, ES_OK, "refused: %s: %s", steps, f.count > 0 ? f.items[0].expected : "");
    else
        cr_expect(s == ES_BAD_INPUT && told(&f, words), "accepted, or not for \"%s\": %s", words, steps);
    es_check_report_free(&report);
    es_findings_free(&f);
    es_procedure_free(p);
}

Test(proof_of_ceilings, every_way_in_every_surrounding)
{
    struct bench x = make_bench();

    for (size_t i = 0; i < sizeof limits / sizeof limits[0]; i++)
        for (size_t k = 0; k < limits[i].way_count; k++)
            for (size_t n = 0; n < sizeof surroundings / sizeof surroundings[0]; n++) {
                prove(&x, limits[i].ways[k], surroundings[n], limits[i].inside, NULL);
                prove(&x, limits[i].ways[k], surroundings[n], limits[i].outside, limits[i].words);
            }
    free_bench(&x);
}

/* A ramp in a repetition begins where the last turn left it, and not where the procedure began. */
Test(proof_of_ceilings, a_jump_is_refused_where_only_the_second_turn_makes_it)
{
    struct bench x = make_bench();

    x.b->view.roles[ES_ROLE_SUPPLY_DEMAND].slew = 2e5;
    prove(&x, "@", "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"@\"}", "0 bar", NULL);
    prove(&x, "@",
          "{\"do\": \"repeat\", \"times\": 2, \"steps\": ["
          "{\"do\": \"set\", \"role\": \"supply demand\", \"to\": \"@\"},"
          "{\"do\": \"ramp\", \"role\": \"supply demand\", \"to\": \"3 bar\", \"at\": \"1 bar/s\"}]}",
          "0 bar", "a ramp: the bench limits");
    free_bench(&x);
}

/* ---- Made-up procedures ---- */

struct maker {
    uint64_t state;
    FILE *to;
    int recordings, depth;
    bool shaft_stands; /* at 0 deg */
};

/* SplitMix64 (Steele, Lea, Flood 2014). */
static uint64_t draw(struct maker *m)
{
    uint64_t z = m->state += 0x9e3779b97f4a7c15u;

    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

static unsigned below(struct maker *m, unsigned n)
{
    return (unsigned)(draw(m) % n);
}

/* Mostly inside what bench and type allow, a little less often at its edge, seldom beyond. */
static double value_in(struct maker *m, double low, double high)
{
    const unsigned what = below(m, 60);

    if (what == 0)
        return high + 0.01;
    if (what == 1)
        return low - 0.01;
    if (what < 6)
        return what % 2 ? low : high;
    return low + (high - low) * below(m, 1001) / 1000;
}

static void make_value(struct maker *m, bool loop)
{
    if (loop && below(m, 3) == 0)
        fprintf(m->to, "\"%.2f %%\"", value_in(m, -25, 112));
    else if (loop)
        fprintf(m->to, "\"%.3f mA\"", value_in(m, 0, 22));
    else if (below(m, 4) == 0)
        fprintf(m->to, "\"%s\"", below(m, 2) ? "nominal supply" : "minimum supply");
    else
        fprintf(m->to, "\"%.3f bar\"", value_in(m, 0, 6.5));
}

static void make_command(struct maker *m)
{
    const bool loop = below(m, 2) == 0;
    const char *role = loop ? "loop demand" : "supply demand";

    switch (below(m, 4)) {
    case 0:
        fprintf(m->to, "{\"do\": \"set\", \"role\": \"%s\", \"to\": ", role);
        make_value(m, loop);
        break;
    case 1:
        fprintf(m->to, "{\"do\": \"ramp\", \"role\": \"%s\", \"at\": \"%u %s\", \"to\": ", role,
                1 + below(m, 9), loop ? "mA/s" : "bar/s");
        make_value(m, loop);
        break;
    case 2:
        fprintf(m->to, "{\"do\": \"step\", \"role\": \"%s\", \"hold\": \"%u ms\", \"through\": [", role,
                100 + below(m, 900));
        for (unsigned n = below(m, 4) + 1; n > 0; n--) {
            make_value(m, loop);
            fputs(n > 1 ? ", " : "]", m->to);
        }
        break;
    default:
        fprintf(m->to,
                "{\"do\": \"staircase\", \"role\": \"%s\", \"stairs\": %u, \"and back\": %s, \"times\": %u, "
                "\"hold\": \"200 ms\", \"from\": ",
                role, 1 + below(m, 4), below(m, 2) ? "true" : "false", 1 + below(m, 2));
        make_value(m, loop);
        fputs(", \"to\": ", m->to);
        make_value(m, loop);
    }
    fputs("}", m->to);
}

static void make_shaft(struct maker *m)
{
    if (!m->shaft_stands) {
        fprintf(
            m->to,
            "{\"do\": \"turn shaft\", \"to\": \"0 deg\", \"at\": \"%u deg/s\", \"text\": \"t\", \"at most\": "
            "\"60 s\"}",
            10 + below(m, 82));
        m->shaft_stands = m->depth == 0;
        return;
    }
    fprintf(m->to,
            "{\"do\": \"sweep shaft\", \"from\": \"0 deg\", \"to\": \"%.1f deg\", \"at\": \"%u deg/s\", "
            "\"times\": %u, \"text\": \"t\", \"at most\": \"60 s\"}",
            value_in(m, -75, 75), 10 + below(m, 82), 1 + below(m, 2));
}

static void make_wait(struct maker *m)
{
    static const char *const otherwise[] = {"go on", "go on", "skip the rest"};

    switch (below(m, 3)) {
    case 0:
        fprintf(
            m->to,
            "{\"do\": \"wait\", \"role\": \"travel\", \"near\": \"%u %%\", \"within\": \"5 %%\", \"for\": "
            "\"0.5 s\", \"at most\": \"%u s\", \"otherwise\": \"%s\"}",
            below(m, 101), 1 + below(m, 4), otherwise[below(m, 3)]);
        break;
    case 1:
        fputs("{\"do\": \"isolate and vent\", \"outputs\": [\"output 1\", \"output 2\"], \"below\": \"0.1 "
              "bar\", "
              "\"at most\": \"3 s\", \"otherwise\": \"go on\"}",
              m->to);
        break;
    default:
        fprintf(m->to, "{\"do\": \"hold\", \"for\": \"%u ms\"}", 50 + below(m, 3000));
    }
}

static void make_steps(struct maker *m, unsigned count);

static void make_block(struct maker *m)
{
    m->depth++;
    if (m->depth == 1 && below(m, 2) == 0 && m->recordings < 6)
        fprintf(m->to,
                "{\"do\": \"record\", \"name\": \"r%d\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", "
                "\"steps\": [",
                m->recordings++);
    else
        fprintf(m->to, "{\"do\": \"repeat\", \"times\": %u%s, \"steps\": [", 1 + below(m, 3),
                below(m, 2) == 0 ? ", \"at most\": \"3 s\", \"otherwise\": \"go on\"" : "");
    make_steps(m, 1 + below(m, 3));
    fputs("]}", m->to);
    m->depth--;
}

static void make_steps(struct maker *m, unsigned count)
{
    for (unsigned i = 0; i < count; i++) {
        const unsigned what = below(m, 10);
        if (i > 0)
            fputs(", ", m->to);
        if (what < 5)
            make_command(m);
        else if (what < 6)
            make_shaft(m);
        else if (what < 8 || m->depth >= 3)
            make_wait(m);
        else
            make_block(m);
    }
}

static char *make_text(uint64_t seed)
{
    char *text = NULL;
    size_t size;
    struct maker m = {.state = seed, .to = open_memstream(&text, &size)};

    make_steps(&m, 2 + below(&m, 6));
    (void)fclose(m.to);
    return text;
}

/* No write beyond a ceiling, and none hastier than the slew limit of its role. */
static void writes_keep_within(const struct fake_bench *b, const struct es_type *type, uint64_t seed)
{
    double last[ES_ROLE_COUNT], at[ES_ROLE_COUNT];

    for (size_t i = 0; i < ES_ROLE_COUNT; i++) {
        last[i] = b->view.roles[i].safe;
        at[i] = 100;
    }
    for (size_t i = 0; i < b->write_count; i++) {
        const struct fake_write *w = &b->writes[i];
        const struct es_station_role *r = &b->view.roles[w->role];
        const double change = fabs(w->value - last[w->role]);
        cr_expect(w->value >= r->lowest - 1e-12 && w->value <= r->highest * (1 + 1e-9), "seed %d: %s %g",
                  (int)seed, es_role_info(w->role)->name, w->value);
        if (w->role == ES_ROLE_SUPPLY_DEMAND)
            cr_expect_leq(w->value, type->highest_supply * (1 + 1e-9), "seed %d", (int)seed);
        if (isfinite(r->slew))
            cr_expect_leq(change, r->slew * (w->t - at[w->role]) * (1 + 1e-6) + 1e-9, "seed %d: %s at %g s",
                          (int)seed, es_role_info(w->role)->name, w->t);
        last[w->role] = w->value;
        at[w->role] = w->t;
    }
}

/* Runs what was accepted; `slow`: slower than the proof allows for. */
static void run_accepted(const struct es_plan *plan, const struct bench *x, double longest, uint64_t seed,
                         bool slow)
{
    struct es_outcome o;
    struct es_error err;

    es_outcome_init(&o);
    x->b->write_time = slow ? 1.5 : 0.001 + 0.2 * (double)(seed % 100) / 100;
    x->b->stuck = seed % 3 == 0;
    struct es_execute_options options = fake_options(x->b);
    options.unattended = true;
    const double begin = x->b->now;
    const enum es_status s = es_plan_execute(plan, x->type, &x->b->port, &options, NULL, &o, &err);
    const double took = x->b->now - begin;
    cr_expect(s == ES_OK || (slow && s == ES_TIMEOUT), "seed %d: %s", (int)seed, err.text);
    cr_expect_leq(took, longest + (slow ? 1.5 : 0) + 1e-6, "seed %d: %g s, at most %g s", (int)seed, took,
                  longest);
    writes_keep_within(x->b, x->type, seed);
    es_outcome_free(&o);
}

Test(proof_by_running, what_is_accepted_keeps_its_promises)
{
    unsigned accepted = 0, refused = 0;

    for (uint64_t seed = 1; seed <= 1500; seed++) {
        struct bench x = make_bench();
        struct es_findings f = {0};
        struct es_check_report report;
        struct es_error err;
        char *text = make_text(seed);
        struct es_plan *plan = must_plan(text, "");
        x.b->view.roles[ES_ROLE_LOOP_DEMAND].slew = seed % 4 == 0 ? 10e-3 : INFINITY;
        if (es_plan_check_unattended(plan, &x.b->view, x.type, &f, &report, &err) == ES_OK) {
            accepted++;
            run_accepted(plan, &x, report.bench_time, seed, seed % 5 == 0);
        } else {
            refused++;
            cr_expect_gt(f.count, 0);
        }
        es_check_report_free(&report);
        es_findings_free(&f);
        es_plan_free(plan);
        free(text);
        free_bench(&x);
    }
    cr_expect(accepted > 400 && refused > 200, "%u accepted, %u refused", accepted, refused);
}
