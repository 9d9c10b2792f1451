#include "results/archive/derive.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/certificate.h"
#include "rig/base/digest.h"

void es_derived_clear(struct es_derived *d)
{
    es_content_free(&d->content);
    es_document_free(d->doc);
    *d = (struct es_derived){.doc = NULL};
}

static const char *text_of(const cJSON *object, const char *name)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    return text ? text : "";
}

static enum es_status digest_payload(struct es_derived *d, struct es_error *err)
{
    char *payload = NULL;
    size_t length = 0;
    enum es_status st =
        es_canonical_write_without(es_document_root(d->doc), "signatures", &payload, &length, err);
    if (st == ES_OK) {
        es_digest_hex(payload, length, d->payload);
        free(payload);
    }
    return st;
}

/* What they say of themselves; whose keys they are is for who checks the certificate. */
static void read_signatures(struct es_derived *d)
{
    d->released = d->releaser = "";
    for (size_t i = 0; i < d->content.signature_count; i++) {
        const struct es_content_signature *s = &d->content.signatures[i];
        d->out_of_force = d->out_of_force || strcmp(s->role, ES_ROLE_OF_VOID) == 0;
        if (!d->released[0] && strcmp(s->role, ES_ROLE_OF_RELEASE) == 0) {
            d->released = s->time;
            d->releaser = s->name;
        }
    }
}

enum es_status es_derive(const char *bytes, size_t length, struct es_derived *out, struct es_error *err)
{
    struct es_derived d = {.doc = NULL};
    struct es_findings findings = {0};
    enum es_status st = es_document_parse("certificate", bytes, length, &findings, &d.doc, err);
    st = st == ES_BAD_INPUT ? es_findings_status(&findings, err) : st;
    es_findings_free(&findings);
    const cJSON *root = st == ES_OK ? es_document_root(d.doc) : NULL;
    if (st == ES_OK && strncmp(text_of(root, "endstop"), "certificate/", 12) != 0) {
        st = es_fail(err, ES_BAD_INPUT, "this is not a certificate");
    }
    if (st == ES_OK) {
        st = es_content_read(root, &d.content, err);
    }
    if (st == ES_OK) {
        st = digest_payload(&d, err);
    }
    if (st != ES_OK) {
        es_derived_clear(&d);
        return st;
    }
    es_digest_hex(bytes, length, d.digest);
    const cJSON *unit = cJSON_GetObjectItemCaseSensitive(root, "unit");
    d.lot = text_of(unit, "lot");
    d.supplier = text_of(unit, "supplier");
    d.signatures = d.content.signature_count;
    *out = d;
    read_signatures(out);
    return ES_OK;
}

/* ---- Rows ---- */

#define RUN(db, statement, ...)                                                                              \
    es_database_run((db), (statement), (const struct es_value[]){__VA_ARGS__},                               \
                    sizeof((const struct es_value[]){__VA_ARGS__}) / sizeof(struct es_value), NULL, NULL,    \
                    NULL, err)

static enum es_status put_lines(struct es_database *db, int64_t id, const struct es_derived *d,
                                struct es_error *err)
{
    enum es_status st = RUN(db, ES_SQL_DROP_LINES, es_value_integer(id));
    for (size_t i = 0; i < d->content.line_count && st == ES_OK; i++) {
        const struct es_content_line *l = &d->content.lines[i];
        st = RUN(db, ES_SQL_PUT_LINE, es_value_integer(id), es_value_integer((int64_t)i),
                 es_value_text(l->procedure), es_value_text(l->measurand), es_value_text(l->unit),
                 es_value_real(l->v.value), es_value_real(l->v.U), es_value_real(l->lower),
                 es_value_real(l->upper), es_value_text(l->verdict));
    }
    return st;
}

static enum es_status put_instruments(struct es_database *db, int64_t id, const struct es_derived *d,
                                      struct es_error *err)
{
    enum es_status st = RUN(db, ES_SQL_DROP_INSTRUMENTS, es_value_integer(id));
    for (size_t i = 0; i < d->content.instrument_count && st == ES_OK; i++) {
        const struct es_content_instrument *r = &d->content.instruments[i];
        st = RUN(db, ES_SQL_PUT_INSTRUMENT, es_value_integer(id), es_value_integer((int64_t)i),
                 es_value_text(r->name), es_value_text(r->identity), es_value_text(r->calibration),
                 es_value_text(r->calibrated), es_value_text(r->due));
    }
    return st;
}

/* The likely cause at `at`, most likely first; false when there are no more. Probability NAN: not given. */
static bool cause_at(const struct es_derived *d, int at, const char **name, double *probability)
{
    const cJSON *about = cJSON_GetObjectItemCaseSensitive(es_document_root(d->doc), "interpretation");
    const cJSON *cause = cJSON_GetArrayItem(cJSON_GetObjectItemCaseSensitive(about, "causes"), at);
    const cJSON *number = cJSON_GetObjectItemCaseSensitive(cause, "probability");
    *name = text_of(cause, "cause");
    *probability = cJSON_IsNumber(number) ? number->valuedouble : NAN;
    return cause != NULL;
}

static enum es_status put_causes(struct es_database *db, int64_t id, const struct es_derived *d,
                                 struct es_error *err)
{
    const char *name;
    double probability;
    enum es_status st = RUN(db, ES_SQL_DROP_CAUSES, es_value_integer(id));
    for (int i = 0; st == ES_OK && cause_at(d, i, &name, &probability); i++) {
        st = RUN(db, ES_SQL_PUT_CAUSE, es_value_integer(id), es_value_integer(i), es_value_text(name),
                 es_value_real(probability));
    }
    return st;
}

enum es_status es_derive_rows(struct es_database *db, int64_t id, const struct es_derived *d,
                              struct es_error *err)
{
    const struct es_content *c = &d->content;
    enum es_status st =
        RUN(db, ES_SQL_DERIVE, es_value_integer(id), es_value_text(c->reason), es_value_text(d->lot),
            es_value_text(d->supplier), es_value_text(c->job), es_value_text(c->received),
            es_value_text(c->found), es_value_text(c->virtual_bench ? "virtual" : "real"),
            es_value_text(d->out_of_force ? "void" : ""), es_value_text(c->bench), es_value_text(c->station),
            es_value_text(c->person), es_value_text(d->released), es_value_text(d->releaser),
            es_value_text(c->replaces));
    if (st == ES_OK) {
        st = put_lines(db, id, d, err);
    }
    if (st == ES_OK) {
        st = put_instruments(db, id, d, err);
    }
    return st == ES_OK ? put_causes(db, id, d, err) : st;
}

void es_derive_causes(const struct es_derived *d, struct es_text *out)
{
    const char *name;
    double probability;
    for (int i = 0; cause_at(d, i, &name, &probability); i++) {
        es_text_printf(out, "%d\x1f%s\x1f", i, name);
        if (isfinite(probability)) {
            es_text_printf(out, "%.17g", probability);
        }
        es_text_char(out, '\x1f');
    }
}
