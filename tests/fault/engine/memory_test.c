/* Each allocation in turn fails, once: reading, proving, explaining and running end with "no memory" or as
 * if nothing had been, never with a crash, and nothing is written to the bench after a failed run. The
 * linker's --wrap puts these functions between the program and malloc. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/explain.h"
#include "tests/unit/engine/documents.h"
#include "tests/unit/engine/fake_bench.h"

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
char *__real_strdup(const char *text);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);
char *__wrap_strdup(const char *text);

static bool armed;
static size_t calls, fail_at;

static bool fails(void)
{
    return armed && ++calls == fail_at;
}

void *__wrap_malloc(size_t size)
{
    return fails() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return fails() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *old, size_t size)
{
    return fails() ? NULL : __real_realloc(old, size);
}

char *__wrap_strdup(const char *text)
{
    return fails() ? NULL : __real_strdup(text);
}

static const char steps[] =
    "{\"do\": \"set\", \"role\": \"supply valve\", \"to\": \"open\"},"
    "{\"do\": \"ask\", \"text\": \"Ready?\", \"options\": [\"a\", \"b\"], \"at most\": \"60 s\"},"
    "{\"do\": \"step\", \"role\": \"loop demand\", \"through\": [\"8 mA\", \"50 %\"], \"hold\": \"0.1 s\"},"
    "{\"do\": \"record\", \"name\": \"a\", \"roles\": [\"travel\"], \"rate\": \"50 Hz\", \"for\": \"1 s\", "
    "\"draw\": [\"travel\"],"
    " \"along\": [\"shaft angle\"], \"throughout\": [{\"role\": \"output 1 vent valve\", \"near\": \"open\"},"
    " {\"role\": \"supply pressure\", \"near\": \"nominal supply\", \"within\": \"10 mbar\"}]}";

static const char measurands[] =
    "{\"measure\": \"level\", \"recordings\": {\"recording\": \"a\"}, \"with\": {\"channel\": \"travel\"},"
    " \"results\": [{\"name\": \"rest\", \"output\": \"value\", \"limit\": \"lower end\"}]}";

/* The bench's own memory is not what is tested here. */
static const struct es_port *inner;

static es_time now(void *self)
{
    return inner->now(self);
}

#define CALL(call)                                                                                           \
    const bool was = armed;                                                                                  \
    armed = false;                                                                                           \
    const enum es_status s = (call);                                                                         \
    armed = was;                                                                                             \
    return s

static enum es_status sleep_until(void *self, es_time t, struct es_error *err)
{
    CALL(inner->sleep_until(self, t, err));
}
static enum es_status read_role(void *self, enum es_role role, struct es_reading *out, struct es_error *err)
{
    CALL(inner->read(self, role, out, err));
}
static enum es_status write_role(void *self, enum es_role role, double v, es_time *acted,
                                 struct es_error *err)
{
    CALL(inner->write(self, role, v, acted, err));
}
static enum es_status record_start(void *self, const char *name, const enum es_role *roles, size_t count,
                                   double rate, int *handle, struct es_error *err)
{
    CALL(inner->record_start(self, name, roles, count, rate, handle, err));
}
static enum es_status record_stop(void *self, int handle, struct es_trace **out, struct es_error *err)
{
    CALL(inner->record_stop(self, handle, out, err));
}
static enum es_status ask(void *self, const struct es_question *q, struct es_answer *a, struct es_error *err)
{
    CALL(inner->ask(self, q, a, err));
}
static enum es_status rest(void *self, struct es_error *err)
{
    CALL(inner->rest(self, err));
}

static enum es_status run(const struct es_plan *plan, struct fake_bench *b, struct es_outcome *o,
                          struct es_error *err)
{
    const struct es_execute_options options = fake_options(b);
    struct es_port port = b->port;

    inner = &b->port;
    port.now = now;
    port.sleep_until = sleep_until;
    port.read = read_role;
    port.write = write_role;
    port.record_start = record_start;
    port.record_stop = record_stop;
    port.ask = ask;
    port.rest = rest;
    return es_plan_execute(plan, b->type, &port, &options, NULL, o, err);
}

/* Reads, proves and runs with the n-th allocation failing. True when all went through. */
static bool whole(const char *text, const struct es_type *type, size_t n)
{
    struct fake_bench *b = fake_bench_new(type);
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc = NULL;
    struct es_procedure *p = NULL;
    struct es_plan *plan = NULL;
    struct es_check_report report = {0};
    struct es_outcome o;

    es_outcome_init(&o);
    calls = 0;
    fail_at = n;
    armed = true;
    enum es_status s = es_document_parse("made.json", text, strlen(text), &f, &doc, &err);
    if (s == ES_OK)
        s = es_procedure_from_document(doc, &f, &p, &err);
    if (s == ES_OK)
        s = es_plan_of_procedure(p, &plan, &err);
    if (s == ES_OK)
        s = es_plan_check(plan, &b->view, type, &f, &report, &err);
    if (s == ES_OK)
        s = run(plan, b, &o, &err);
    armed = false;
    const bool reached = calls >= n;
    if (reached)
        cr_assert(s == ES_NO_MEMORY || s == ES_OK, "allocation %zu: %d %s", n, (int)s, err.text);
    else
        cr_assert_eq(s, ES_OK, "%s", err.text);
    if (s == ES_OK)
        cr_assert(o.completed && o.line_count == 1);
    es_outcome_free(&o);
    es_check_report_free(&report);
    es_plan_free(plan);
    es_document_free(doc);
    es_findings_free(&f);
    fake_bench_free(b);
    return !reached;
}

Test(memory, each_allocation_fails_in_turn)
{
    struct es_type *type = load_type("linear-single-acting");
    char *text = make_procedure(steps, measurands);
    size_t n = 1;

    while (n < 20000 && !whole(text, type, n))
        n++;
    cr_expect(n > 100 && n < 20000, "%zu allocations", n);
    free(text);
    es_type_free(type);
    expect_no_leaks();
}

Test(memory, refused_documents_too)
{
    char *text = make_procedure("{\"do\": \"jump\"}, {\"do\": \"hold\", \"for\": \"2 bar\"}", "7");
    size_t n = 1;
    bool through = false;

    for (; n < 20000 && !through; n++) {
        struct es_findings f = {0};
        struct es_error err = {0};
        struct es_document *doc = NULL;
        struct es_procedure *p = NULL;
        calls = 0;
        fail_at = n;
        armed = true;
        enum es_status s = es_document_parse("made.json", text, strlen(text), &f, &doc, &err);
        if (s == ES_OK)
            s = es_procedure_from_document(doc, &f, &p, &err);
        armed = false;
        through = calls < n;
        cr_assert_neq(s, ES_OK, "allocation %zu: accepted", n);
        es_document_free(doc);
        es_findings_free(&f);
    }
    cr_expect(through);
    free(text);
    expect_no_leaks();
}
