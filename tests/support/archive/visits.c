#include "tests/support/archive/visits.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "procedures/judgement/judge.h"
#include "results/store/signed.h"
#include "tests/unit/certificate/sample.h"

static void need(bool holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "visits: %s\n", what);
        abort();
    }
}

static void open_all(struct visits *v)
{
    static const unsigned char seed[32] = {9, 9};
    struct es_error err = {0};
    need(es_store_open(v->folder, ES_STORE_WRITE, &v->store, &err) == ES_OK, err.text);
    need(es_key_from_seed(seed, &v->key, &err) == ES_OK, err.text);
    v->trusted = (struct es_trusted_key){.key = *es_key_public(v->key), .name = "bench"};
}

void visits_open(struct visits *v)
{
    *v = (struct visits){.folder = "/tmp/es-visits-XXXXXX"};
    need(mkdtemp(v->folder) != NULL, "no folder");
    open_all(v);
}

void visits_close(struct visits *v)
{
    char command[128];
    es_store_close(v->store);
    es_key_free(v->key);
    (void)snprintf(command, sizeof command, "rm -rf %s", v->folder);
    need(system(command) == 0, "the folder stays");
}

void visits_restart(struct visits *v)
{
    struct es_error err = {0};
    es_store_close(v->store);
    need(es_store_open(v->folder, ES_STORE_WRITE, &v->store, &err) == ES_OK, err.text);
}

static void replace(char **target, const char *text)
{
    if (text) {
        free(*target);
        *target = strdup(text);
    }
}

static void set_leak(struct es_outcome *o, double leak, double U)
{
    struct es_line *line = &o->lines[0];
    struct es_measured m = line->value;
    struct es_limit limit = line->limit;
    struct es_line judged;
    char procedure[64], measurand[128];
    (void)snprintf(procedure, sizeof procedure, "%s", line->procedure);
    (void)snprintf(measurand, sizeof measurand, "%s", line->measurand);
    m.value = es_from_unit(leak, limit.unit);
    if (U > 0) {
        m.U = es_from_unit(U, limit.unit);
        m.u = m.U / m.k;
    }
    need(es_judge_line(procedure, measurand, &m, &limit, &judged, NULL) == ES_OK, "no line");
    es_line_clear(line);
    *line = judged;
    o->verdict = es_judge_overall(o->lines, o->line_count);
}

/* Puts an interpretation where the canonical form has it: right before "issued". */
static void add_cause(char **payload, size_t *length, const char *cause)
{
    char *at = strstr(*payload, ",\"issued\":");
    char *out = NULL;
    need(at != NULL, "no place for a cause");
    int n = asprintf(&out, "%.*s,\"interpretation\":{\"causes\":[{\"cause\":\"%s\",\"probability\":0.7}]}%s",
                     (int)(at - *payload), *payload, cause, at);
    need(n > 0, "no memory");
    free(*payload);
    *payload = out;
    *length = (size_t)n;
}

struct making {
    struct visits *v;
    const struct visit *visit;
};

static enum es_status make(void *self, const char *number, char **bytes, size_t *length, struct es_error *err)
{
    const struct making *m = self;
    struct es_outcome o;
    struct es_certificate_meta meta = sample_meta(m->v->key);
    char *payload = NULL;
    size_t size = 0;
    sample_outcome(&o, 2, 20);
    replace(&o.unit_serial, m->visit->serial);
    replace(&o.type, m->visit->type);
    replace(&o.state, m->visit->state);
    replace(&o.customer, m->visit->customer);
    replace(&o.instruments[0].identity, m->visit->instrument);
    replace(&o.run, number); /* each is of another run */
    if (m->visit->leak > 0) {
        set_leak(&o, m->visit->leak, m->visit->U);
    }
    meta.number = number;
    meta.issued = m->visit->issued ? m->visit->issued : meta.issued;
    meta.replaces = m->visit->replaces;
    meta.replaces_because = m->visit->replaces ? "a wrong tag" : NULL;
    const struct es_certificate_visit supplied = {.lot = m->visit->lot, .supplier = m->visit->supplier};
    meta.visit = m->visit->lot || m->visit->supplier ? &supplied : NULL;
    enum es_status st = es_certificate_build(&o, &meta, &payload, &size, err);
    if (st == ES_OK && m->visit->cause) {
        add_cause(&payload, &size, m->visit->cause);
    }
    if (st == ES_OK) {
        st = es_certificate_sign(payload, size, m->v->key, "bench", meta.issued, bytes, length, err);
    }
    free(payload);
    es_outcome_free(&o);
    return st;
}

enum es_status visits_issue(struct visits *v, const struct visit *visit,
                            char number[static ES_STORE_NUMBER_MAX])
{
    struct making making = {.v = v, .visit = visit};
    const struct es_store_maker maker = {.self = &making, .make = make};
    struct es_error err = {0};
    enum es_status st = es_store_issue(v->store, "EX", &maker, number, &err);
    need(st == ES_OK, err.text);
    return st;
}

void visits_add(struct visits *v, const struct visit *visit)
{
    char number[ES_STORE_NUMBER_MAX];
    struct es_error err = {0};
    need(visits_issue(v, visit, number) == ES_OK, "not issued");
    need(es_store_seal(v->store, v->key, number, visit->issued ? visit->issued : "2026-02-03T10:06:00.000Z",
                       &err) == ES_OK,
         err.text);
}

const unsigned char visits_second_seed[32] = {7, 7, 7};

void visits_sign(struct visits *v, const char *number, bool is_void, const char *when)
{
    const struct es_signing signing = {.role = is_void ? ES_ROLE_OF_VOID : ES_ROLE_OF_RELEASE,
                                       .when = when,
                                       .name = "B. Example",
                                       .reason = is_void ? "an adaptor leaked" : NULL};
    struct es_key *key = NULL;
    struct es_error err = {0};
    char *bytes = NULL;
    size_t length = 0;
    need(es_key_from_seed(visits_second_seed, &key, &err) == ES_OK, err.text);
    need(es_store_sign(v->store, number, key, &signing, &bytes, &length, NULL, &err) == ES_OK, err.text);
    need(es_store_seal(v->store, v->key, number, when, &err) == ES_OK, err.text);
    es_key_free(key);
    free(bytes);
}

char *visits_read(const struct visits *v, const char *file, size_t *length)
{
    char path[256];
    char *bytes = NULL;
    (void)snprintf(path, sizeof path, "%s/%s", v->folder, file);
    need(es_file_read(NULL, path, 1 << 26, &bytes, length, NULL) == ES_OK, path);
    return bytes;
}

void visits_write(const struct visits *v, const char *file, const char *bytes, size_t length)
{
    char path[256];
    (void)snprintf(path, sizeof path, "%s/%s", v->folder, file);
    FILE *to = fopen(path, "w");
    need(to != NULL && fwrite(bytes, 1, length, to) == length && fclose(to) == 0, path);
}
