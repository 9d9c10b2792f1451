#include "results/certificate/content.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/format.h"
#include "rig/base/document.h"
#include "rig/base/text.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const cJSON *member(const cJSON *object, const char *name)
{
    return cJSON_GetObjectItemCaseSensitive(object, name);
}

static const char *text(const cJSON *object, const char *name)
{
    const char *found = cJSON_GetStringValue(member(object, name));
    return found ? found : "";
}

static double number(const cJSON *object, const char *name, double otherwise)
{
    const cJSON *item = member(object, name);
    return cJSON_IsNumber(item) ? item->valuedouble : otherwise;
}

static bool truth(const cJSON *object, const char *name)
{
    return cJSON_IsTrue(member(object, name));
}

/* ---- The texts at the top and one level below ---- */

struct place {
    const char *parent, *name; /* parent NULL: at the top */
    size_t offset;
};

#define AT(parent, name, field)                                                                              \
    {                                                                                                        \
        parent, name, offsetof(struct es_content, field)                                                     \
    }

static const struct place places[] = {
    AT(NULL, "kind", kind),
    AT(NULL, "title", title),
    AT(NULL, "number", number),
    AT(NULL, "issued", issued),
    AT(NULL, "replaces", replaces),
    AT(NULL, "replaces_because", replaces_because),
    AT(NULL, "verdict", verdict),
    AT("issuer", "key", issuer_key),
    AT("issuer", "software", software),
    AT("laboratory", "name", laboratory),
    AT("laboratory", "address", laboratory_address),
    AT("laboratory", "place_of_test", place_of_test),
    AT("bench", "name", bench),
    AT("bench", "sha256", bench_sha256),
    AT("bench", "station", station),
    AT(NULL, "customer", customer),
    AT(NULL, "customer_contact", customer_contact),
    AT(NULL, "customer_reference", customer_reference),
    AT("unit", "serial", serial),
    AT("unit", "tag", tag),
    AT("unit", "type", type),
    AT("unit", "lot", lot),
    AT("unit", "supplier", supplier),
    AT(NULL, "state", state),
    AT(NULL, "reason", reason),
    AT(NULL, "parts_replaced", parts_replaced),
    AT(NULL, "deviations", deviations),
    AT("job", "number", job),
    AT("job", "received", received),
    AT("job", "condition", condition),
    AT("job", "found", found),
    AT("before", "number", before_number),
    AT("before", "sha256", before_sha256),
    AT("before", "state", before_state),
    AT("before", "verdict", before_verdict),
    AT("run", "id", run),
    AT("run", "began", began),
    AT("run", "ended", ended),
    AT("run", "ended_because", ended_because),
    AT("run", "person", person),
    AT("run", "seed", seed),
    AT(NULL, "issued_although_overdue_because", overdue_because),
    AT("inputs", "sha256", inputs_sha256),
    AT("type_sheet", "name", type_sheet.name),
    AT("type_sheet", "title", type_sheet.title),
    AT("type_sheet", "version", type_sheet.version),
    AT("type_sheet", "sha256", type_sheet.sha256),
    AT("plan", "name", plan.name),
    AT("plan", "title", plan.title),
    AT("plan", "version", plan.version),
    AT("plan", "sha256", plan.sha256),
};

static void read_head(const cJSON *root, struct es_content *c)
{
    for (size_t i = 0; i < COUNT(places); i++) {
        const cJSON *parent = places[i].parent ? member(root, places[i].parent) : root;
        const char **target = (const char **)(void *)((char *)c + places[i].offset);
        *target = text(parent, places[i].name);
    }
    const cJSON *run = member(root, "run");
    c->record = strcmp(c->kind, "record") == 0;
    c->virtual_bench = truth(member(root, "bench"), "virtual");
    c->clock_synchronised = truth(member(root, "issuer"), "clock_synchronised");
    c->attended = truth(run, "attended");
    c->safe_state_after = number(run, "safe_state_after_s", NAN);
}

/* ---- One element of each list ---- */

static struct es_content_value read_value(const cJSON *item)
{
    struct es_content_value v = {.value = number(item, "value", NAN),
                                 .U = number(item, "U", NAN),
                                 .k = number(item, "k", NAN),
                                 .dof = number(item, "dof", INFINITY)};
    const cJSON *monte_carlo = member(item, "monte_carlo");
    v.measured = !isnan(v.value);
    v.low = number(monte_carlo, "low", v.value - v.U);
    v.high = number(monte_carlo, "high", v.value + v.U);
    v.trials = number(monte_carlo, "trials", 0);
    return v;
}

static void read_line(const cJSON *item, void *to)
{
    const cJSON *limit = member(item, "limit");
    double decimals = number(item, "decimals", 0);
    *(struct es_content_line *)to =
        (struct es_content_line){.procedure = text(item, "procedure"),
                                 .measurand = text(item, "measurand"),
                                 .unit = text(item, "unit"),
                                 .limit = text(limit, "name"),
                                 .rule = text(item, "rule"),
                                 .decimals = decimals >= 0 && decimals <= 15 ? (int)decimals : 0,
                                 .lower = number(limit, "lower", -INFINITY),
                                 .upper = number(limit, "upper", INFINITY),
                                 .required = truth(limit, "required"),
                                 .v = read_value(item),
                                 .guard_band = number(item, "guard_band", NAN),
                                 .false_acceptance = number(item, "false_acceptance", NAN),
                                 .verdict = text(item, "verdict"),
                                 .reason = text(item, "reason")};
}

static void read_procedure(const cJSON *item, void *to)
{
    *(struct es_content_procedure *)to = (struct es_content_procedure){
        .d = {text(item, "name"), text(item, "title"), text(item, "version"), text(item, "sha256")},
        .began = text(item, "began"),
        .skipped_because = text(item, "skipped_because"),
        .duration = number(item, "duration_s", NAN),
        .completed = truth(item, "completed")};
}

static void read_environment(const cJSON *item, void *to)
{
    *(struct es_content_environment *)to = (struct es_content_environment){
        text(item, "name"), text(item, "unit"), text(item, "reason"), read_value(item)};
}

static void read_instrument(const cJSON *item, void *to)
{
    *(struct es_content_instrument *)to =
        (struct es_content_instrument){text(item, "name"), text(item, "identity"), text(item, "calibration"),
                                       text(item, "calibrated"), text(item, "due")};
}

static void read_confirmation(const cJSON *item, void *to)
{
    *(struct es_content_confirmation *)to = (struct es_content_confirmation){
        text(item, "text"), text(item, "answer"), text(item, "person"), text(item, "time")};
}

static void read_recording(const cJSON *item, void *to)
{
    *(struct es_content_recording *)to = (struct es_content_recording){
        text(item, "name"), text(item, "procedure"), text(item, "sha256"), number(item, "bytes", NAN)};
}

static void read_condition(const cJSON *item, void *to)
{
    const char *value = cJSON_GetStringValue(item);
    *(struct es_content_pair *)to =
        (struct es_content_pair){item->string ? item->string : "", value ? value : ""};
}

static void read_text(const cJSON *item, void *to)
{
    const char *value = cJSON_GetStringValue(item);
    *(const char **)to = value ? value : "";
}

/* ---- Signatures: the protected header is looked into, not checked ---- */

static void copy(const cJSON *header, const char *name, char *out, size_t size)
{
    (void)snprintf(out, size, "%s", text(header, name));
}

/* A header that is none leaves its texts empty. */
static enum es_status read_header(const char *header, size_t length, struct es_content_signature *s)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse("header", header, length, &findings, &doc, NULL);
    st = st == ES_BAD_INPUT ? es_findings_status(&findings, NULL) : st;
    if (st == ES_OK) {
        const cJSON *root = es_document_root(doc);
        copy(root, "role", s->role, sizeof s->role);
        copy(root, "name", s->name, sizeof s->name);
        copy(root, "time", s->time, sizeof s->time);
        copy(root, "reason", s->reason, sizeof s->reason);
    }
    es_document_free(doc);
    es_findings_free(&findings);
    return st;
}

static void read_signature(const cJSON *item, void *to)
{
    struct es_content_signature *s = to;
    char header[1024];
    size_t length = 0;
    *s = (struct es_content_signature){.kid = text(member(item, "key"), "kid"), .jws = text(item, "jws")};
    if (es_base64url_decode(s->jws, strcspn(s->jws, "."), header, sizeof header, &length, NULL) == ES_OK &&
        read_header(header, length, s) == ES_NO_MEMORY) {
        s->kid = NULL; /* told by read_lists: a void must not be overlooked */
    }
}

/* ---- Lists ---- */

/* Elements of an array or members of an object; NULL with *count 0 when there are none or memory is refused
 * (then *ok is false). */
static void *read_list(const cJSON *list, size_t size, void (*read)(const cJSON *item, void *to),
                       size_t *count, bool *ok)
{
    int n = cJSON_IsArray(list) || cJSON_IsObject(list) ? cJSON_GetArraySize(list) : 0;
    char *made = n > 0 ? calloc((size_t)n, size) : NULL;
    const cJSON *item = NULL;
    *count = 0;
    *ok = *ok && (made || n == 0);
    if (made) {
        cJSON_ArrayForEach(item, list)
        {
            read(item, made + size * (*count)++);
        }
    }
    return made;
}

#define LIST(field, counter, name, reader)                                                                   \
    c->field = read_list(member(root, name), sizeof *c->field, reader, &c->counter, &ok)

static double *read_numbers(const cJSON *list, size_t count)
{
    double *made = calloc(count + 1, sizeof *made);
    const cJSON *item = list ? list->child : NULL;
    for (size_t i = 0; made && i < count; i++, item = item->next) {
        made[i] = cJSON_IsNumber(item) ? item->valuedouble : NAN;
    }
    return made;
}

static void read_curve(const cJSON *item, void *to)
{
    const cJSON *t = member(item, "t_s");
    const cJSON *y = member(item, "y");
    int points = cJSON_IsArray(t) && cJSON_IsArray(y) ? cJSON_GetArraySize(t) : 0;
    int values = points > 0 ? cJSON_GetArraySize(y) : 0;
    size_t count = (size_t)(points < values ? points : values);
    *(struct es_content_curve *)to = (struct es_content_curve){.recording = text(item, "recording"),
                                                               .series = text(item, "series"),
                                                               .unit = text(item, "unit"),
                                                               .count = count,
                                                               .t = read_numbers(t, count),
                                                               .y = read_numbers(y, count)};
}

static void read_source(const cJSON *item, void *to)
{
    struct es_content_source *s = to;
    bool ok = true;
    s->source = text(item, "source");
    s->limits = read_list(member(item, "limits"), sizeof *s->limits, read_text, &s->count, &ok);
    if (!ok) {
        s->source = NULL; /* told by read_lists */
    }
}

static bool read_lists(const cJSON *root, struct es_content *c)
{
    bool ok = true;
    LIST(procedures, procedure_count, "procedures", read_procedure);
    LIST(lines, line_count, "lines", read_line);
    LIST(environment, environment_count, "environment", read_environment);
    LIST(instruments, instrument_count, "instruments", read_instrument);
    LIST(confirmations, confirmation_count, "confirmations", read_confirmation);
    LIST(recordings, recording_count, "recordings", read_recording);
    LIST(curves, curve_count, "curves", read_curve);
    LIST(sources, source_count, "limit_sources", read_source);
    LIST(conditions, condition_count, "reference_conditions", read_condition);
    LIST(statements, statement_count, "statements", read_text);
    LIST(not_given, not_given_count, "not_given", read_text);
    LIST(signatures, signature_count, ES_SIGNATURES_MEMBER, read_signature);
    for (size_t i = 0; i < c->curve_count; i++) {
        ok = ok && c->curves[i].t && c->curves[i].y;
    }
    for (size_t i = 0; i < c->source_count; i++) {
        ok = ok && c->sources[i].source;
    }
    for (size_t i = 0; i < c->signature_count; i++) {
        ok = ok && c->signatures[i].kid;
    }
    return ok;
}

enum es_status es_content_read(const cJSON *root, struct es_content *out, struct es_error *err)
{
    struct es_content c = {0};
    if (!cJSON_IsObject(root) || strcmp(text(root, "endstop"), ES_CERTIFICATE_FORMAT) != 0) {
        return es_fail(err, ES_BAD_INPUT,
                       "this is not a certificate (\"endstop\": \"" ES_CERTIFICATE_FORMAT "\")");
    }
    read_head(root, &c);
    if (!read_lists(root, &c)) {
        es_content_free(&c);
        return es_fail(err, ES_NO_MEMORY, "no memory to read a certificate");
    }
    *out = c;
    return ES_OK;
}

void es_content_free(struct es_content *c)
{
    if (!c) {
        return;
    }
    for (size_t i = 0; i < c->curve_count; i++) {
        free(c->curves[i].t);
        free(c->curves[i].y);
    }
    for (size_t i = 0; i < c->source_count; i++) {
        free(c->sources[i].limits);
    }
    void *lists[] = {
        c->procedures,        c->lines,     c->environment, c->instruments, c->confirmations,
        c->recordings,        c->curves,    c->sources,     c->conditions,  (void *)c->statements,
        (void *)c->not_given, c->signatures};
    for (size_t i = 0; i < COUNT(lists); i++) {
        free(lists[i]);
    }
    *c = (struct es_content){0};
}

const char *es_content_procedure_title(const struct es_content *c, const char *name)
{
    for (size_t i = 0; i < c->procedure_count; i++) {
        if (strcmp(c->procedures[i].d.name, name) == 0 && c->procedures[i].d.title[0]) {
            return c->procedures[i].d.title;
        }
    }
    return name;
}
