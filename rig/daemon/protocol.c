#include <stdlib.h>
#include <string.h>

#include "rig/base/document.h"
#include "rig/console/json_writer.h"
#include "rig/daemon/protocol.h"

static const char *const do_words[] = {"hello", "bench", "run",          "watch",       "answer", "stop",
                                       "reset", "runs",  "certificates", "certificate", "plans",  "seal",
                                       "amend", NULL};
static const char *const reply_words[] = {"yes", "no", "choice", "number", "done", NULL};
static const char *const state_words[] = {"as found", "as left", NULL};

#define AT(member)  offsetof(struct es_request_line, member)
#define TEXT_MAX    200
#define INTEGER_MAX 2147483647.0
#define ROW_ID                                                                                               \
    {                                                                                                        \
        .name = "id", .kind = ES_FIELD_INTEGER, .required = true, .offset = AT(id), .max = INTEGER_MAX       \
    }
#define ROW_DO                                                                                               \
    {                                                                                                        \
        .name = "do", .kind = ES_FIELD_ANY, .required = true, .offset = offsetof(struct raw, what)           \
    }
#define ROW_TEXT(n, m, need)                                                                                 \
    {                                                                                                        \
        .name = (n), .kind = ES_FIELD_TEXT, .required = (need), .offset = AT(m), .min = 1, .max = TEXT_MAX   \
    }
#define ROW_BOOL(n, m)                                                                                       \
    {                                                                                                        \
        .name = (n), .kind = ES_FIELD_BOOL, .offset = AT(m)                                                  \
    }
#define ROW_INT(n, m, need, low, high)                                                                       \
    {                                                                                                        \
        .name = (n), .kind = ES_FIELD_INTEGER, .required = (need), .offset = AT(m), .min = (low),            \
        .max = (high)                                                                                        \
    }

/* The request with what the rows need beside it. */
struct raw {
    struct es_request_line request; /* first: AT() counts from here */
    const cJSON *what;
    int state;
};

static const struct es_field hello_rows[] = {ROW_ID, ROW_DO, ROW_INT("protocol", protocol, true, 1, 1000),
                                             ROW_TEXT("program", program, true),
                                             ROW_TEXT("person", person, false)};
static const struct es_field station_rows[] = {ROW_ID, ROW_DO, ROW_TEXT("station", station, false)};
static const struct es_field run_rows[] = {
    ROW_ID,
    ROW_DO,
    ROW_TEXT("station", station, true),
    ROW_TEXT("plan", plan, true),
    ROW_TEXT("type", type, true),
    ROW_TEXT("serial", serial, true),
    ROW_TEXT("tag", tag, false),
    ROW_TEXT("customer", customer, false),
    ROW_TEXT("reason", reason, false),
    ROW_TEXT("parts replaced", parts_replaced, false),
    ROW_TEXT("overdue reason", overdue_reason, false),
    ROW_TEXT("job", job, false),
    ROW_TEXT("lot", lot, false),
    ROW_TEXT("supplier", supplier, false),
    ROW_TEXT("customer reference", reference, false),
    ROW_TEXT("replaces", replaces, false),
    ROW_TEXT("replaces because", replaces_because, false),
    {.name = "state",
     .kind = ES_FIELD_CHOICE,
     .required = true,
     .offset = offsetof(struct raw, state),
     .choices = state_words},
    ROW_BOOL("unattended", unattended),
    ROW_BOOL("ignore gates", ignore_gates),
    ROW_INT("seed", seed, false, 0, INTEGER_MAX),
};
static const struct es_field watch_rows[] = {ROW_ID, ROW_DO, ROW_TEXT("station", station, true),
                                             ROW_INT("from", from, false, 0, INTEGER_MAX),
                                             ROW_BOOL("attend", attend)};
static const struct es_field answer_rows[] = {
    ROW_ID,
    ROW_DO,
    ROW_TEXT("station", station, true),
    ROW_INT("question", question, true, 1, INTEGER_MAX),
    {.name = "answer",
     .kind = ES_FIELD_CHOICE,
     .required = true,
     .offset = AT(answer),
     .choices = reply_words},
    ROW_INT("choice", choice, false, 0, 1000),
    ROW_TEXT("number", number, false),
};
static const struct es_field stop_rows[] = {ROW_ID, ROW_DO, ROW_TEXT("station", station, true),
                                            ROW_TEXT("why", why, false)};
static const struct es_field reset_rows[] = {ROW_ID, ROW_DO, ROW_TEXT("station", station, true)};
static const struct es_field runs_rows[] = {ROW_ID, ROW_DO, ROW_INT("from", from, false, 0, INTEGER_MAX)};
static const struct es_field certificates_rows[] = {ROW_ID, ROW_DO, ROW_TEXT("serial", serial, false),
                                                    ROW_TEXT("since", since, false),
                                                    ROW_INT("from", from, false, 0, INTEGER_MAX)};
static const struct es_field certificate_rows[] = {ROW_ID, ROW_DO, ROW_TEXT("number", number, true)};
static const struct es_field plans_rows[] = {ROW_ID, ROW_DO};
static const struct es_field seal_rows[] = {ROW_ID, ROW_DO, ROW_TEXT("number", number, true)};
/* The words of es_amend_word. */
static const struct es_field amend_rows[] = {ROW_ID,
                                             ROW_DO,
                                             ROW_TEXT("number", number, true),
                                             ROW_TEXT("because", replaces_because, true),
                                             ROW_TEXT("customer", customer, false),
                                             ROW_TEXT("customer contact", contact, false),
                                             ROW_TEXT("customer reference", reference, false),
                                             ROW_TEXT("tag", tag, false),
                                             ROW_TEXT("lot", lot, false),
                                             ROW_TEXT("supplier", supplier, false),
                                             ROW_TEXT("reason", reason, false),
                                             ROW_TEXT("parts replaced", parts_replaced, false),
                                             ROW_TEXT("date of receipt", received, false),
                                             ROW_TEXT("condition on receipt", condition, false)};

#define ROWS(r)                                                                                              \
    {                                                                                                        \
        r, sizeof(r) / sizeof(r)[0]                                                                          \
    }
static const struct {
    const struct es_field *rows;
    size_t count;
} rows_of[ES_DO_COUNT] = {
    [ES_DO_HELLO] = ROWS(hello_rows),
    [ES_DO_BENCH] = ROWS(station_rows),
    [ES_DO_RUN] = ROWS(run_rows),
    [ES_DO_WATCH] = ROWS(watch_rows),
    [ES_DO_ANSWER] = ROWS(answer_rows),
    [ES_DO_STOP] = ROWS(stop_rows),
    [ES_DO_RESET] = ROWS(reset_rows),
    [ES_DO_RUNS] = ROWS(runs_rows),
    [ES_DO_CERTIFICATES] = ROWS(certificates_rows),
    [ES_DO_CERTIFICATE] = ROWS(certificate_rows),
    [ES_DO_PLANS] = ROWS(plans_rows),
    [ES_DO_SEAL] = ROWS(seal_rows),
    [ES_DO_AMEND] = ROWS(amend_rows),
};

const char *es_do_word(enum es_do what)
{
    return what >= 0 && what < ES_DO_COUNT ? do_words[what] : "?";
}

bool es_name_is_plain(const char *name)
{
    size_t length = strlen(name);
    if (length == 0 || length > 64 || name[0] == '.')
        return false;
    return strspn(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.") == length;
}

/* The id may be told back even when the rest is wrong. */
static void find_id(const cJSON *root, struct es_request_line *request)
{
    const cJSON *id = cJSON_GetObjectItemCaseSensitive(root, "id");
    if (cJSON_IsNumber(id) && id->valuedouble >= 0 && id->valuedouble <= INTEGER_MAX)
        request->id = (long)id->valuedouble;
}

static enum es_status find_do(const cJSON *root, enum es_do *what, struct es_error *err)
{
    const cJSON *word = cJSON_GetObjectItemCaseSensitive(root, "do");
    if (!cJSON_IsString(word))
        return es_fail(err, ES_BAD_INPUT, "a request is an object with \"id\" and \"do\"");
    for (int i = 0; do_words[i] != NULL; i++) {
        if (strcmp(word->valuestring, do_words[i]) == 0) {
            *what = (enum es_do)i;
            return ES_OK;
        }
    }
    return es_fail(err, ES_BAD_INPUT, "unknown request \"%.40s\"", word->valuestring);
}

/* What is written into certificates as a name must be what people can read, and type again. */
static enum es_status check_names(const struct es_request_line *r, struct es_error *err)
{
    const struct {
        const char *what, *text;
    } names[] = {{"the serial number", r->serial},
                 {"the tag", r->tag},
                 {"the customer", r->customer},
                 {"the lot", r->lot},
                 {"the supplier", r->supplier},
                 {"the customer's reference", r->reference},
                 {"the job", r->job}};
    enum es_status s = ES_OK;
    for (size_t i = 0; s == ES_OK && i < sizeof names / sizeof names[0]; i++)
        if (names[i].text != NULL)
            s = es_text_check_line(names[i].what, names[i].text, err);
    return s;
}

static enum es_status read_rows(const struct es_document *doc, struct es_request_line *request,
                                struct es_findings *findings, struct es_error *err)
{
    struct raw raw = {.request = *request};
    bool fine = es_fields_read(doc, es_document_root(doc), rows_of[request->what].rows,
                               rows_of[request->what].count, &raw, findings);
    *request = raw.request;
    if (!fine)
        return es_findings_status(findings, err);
    if (request->what == ES_DO_RUN) {
        request->state = strdup(state_words[raw.state]);
        if (request->state == NULL)
            return es_fail(err, ES_NO_MEMORY, "not enough memory for a request");
        return check_names(request, err);
    }
    return ES_OK;
}

enum es_status es_request_parse(const char *line, size_t length, struct es_request_line *request,
                                struct es_error *err)
{
    memset(request, 0, sizeof *request);
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status s = es_document_parse("request", line, length, &findings, &doc, err);
    if (s != ES_OK)
        goto free_findings;
    const cJSON *root = es_document_root(doc);
    if (!cJSON_IsObject(root)) {
        s = es_fail(err, ES_BAD_INPUT, "a request is an object with \"id\" and \"do\"");
        goto free_document;
    }
    find_id(root, request);
    s = find_do(root, &request->what, err);
    if (s == ES_OK)
        s = read_rows(doc, request, &findings, err);
free_document:
    es_document_free(doc);
free_findings:
    es_findings_free(&findings);
    return s;
}

void es_request_free(struct es_request_line *r)
{
    char **owned[] = {&r->program,
                      &r->person,
                      &r->station,
                      &r->plan,
                      &r->type,
                      &r->serial,
                      &r->tag,
                      &r->customer,
                      &r->reason,
                      &r->state,
                      &r->since,
                      &r->number,
                      &r->parts_replaced,
                      &r->overdue_reason,
                      &r->job,
                      &r->why,
                      &r->lot,
                      &r->supplier,
                      &r->reference,
                      &r->replaces,
                      &r->replaces_because,
                      &r->contact,
                      &r->received,
                      &r->condition};
    for (size_t i = 0; i < sizeof owned / sizeof owned[0]; i++) {
        char **text = owned[i];
        free(*text);
        *text = NULL;
    }
}

void es_reply_begin(struct es_text *out, long id)
{
    es_json_object(out, NULL);
    es_json_integer(out, "id", id);
    es_json_bool(out, "ok", true);
}

void es_reply_error(struct es_text *out, long id, const struct es_error *err)
{
    es_json_object(out, NULL);
    es_json_integer(out, "id", id);
    es_json_bool(out, "ok", false);
    es_json_text(out, "status", es_status_word(err->status));
    es_json_text(out, "text", err->text);
    es_json_end_object(out);
}
