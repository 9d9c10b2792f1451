#include <stdlib.h>
#include <string.h>

#include "results/store/signed.h"
#include "rig/client/before_view.h"
#include "rig/client/certificate_acts.h"
#include "rig/client/certificate_amend.h"
#include "rig/client/certificate_found.h"
#include "rig/client/certificate_view.h"
#include "rig/client/talk.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"

struct arguments {
    struct es_option_list words, sets;
    const char *state, *socket, *serial, *since, *person, *note, *table, *key, *passphrase_file, *name,
        *reason, *to, *bench_passphrase_file, *because;
    bool json, csv;
};

#define TEXT(n, word, member, text) ES_TEXT_OPTION(struct arguments, n, word, member, text)
#define FLAG(n, member, text)       ES_FLAG_OPTION(struct arguments, n, member, text)

static const struct es_option options[] = {
    TEXT("state", "DIR", state, "read the state folder itself; no daemon is needed"),
    TEXT("socket", "PATH", socket, "the daemon's socket; else ENDSTOP_SOCKET, else " ES_DEFAULT_SOCKET),
    TEXT("serial", "SERIAL", serial, "list: only those of this unit"),
    TEXT("since", "DATE", since, "list: only those issued at or after, \"2026-03\" or \"2026-03-01T08:00\""),
    TEXT("person", "NAME", person, "found, amend: who found it, who asks for it; else your system user"),
    TEXT("note", "TEXT", note, "found: what else is to be kept with it"),
    TEXT("table", "FILE", table, "found: the table that knows the causes; else the installed one"),
    TEXT("key", "FILE", key, "release, void: the private key of the person who signs"),
    TEXT("passphrase-file", "FILE", passphrase_file,
         "release, void: its passphrase; else asked at the terminal"),
    TEXT("name", "NAME", name, "release, void: who signs"),
    TEXT(
        "bench-passphrase-file", "FILE", bench_passphrase_file,
        "release, void: where no daemon runs, the passphrase of the bench's key, which enters it in the log"),
    TEXT("reason", "TEXT", reason, "void: why"),
    TEXT("because", "TEXT", because, "amend: why"),
    {.name = "set",
     .value = "WHAT=TEXT",
     .kind = ES_OPTION_LIST,
     .offset = offsetof(struct arguments, sets),
     .meaning =
         "amend: what is right: \"customer=Example Quarry\"; customer, customer contact, customer "
         "reference, tag, lot, supplier, reason, parts replaced, date of receipt, condition on receipt"},
    TEXT("to", "DIR", to, "export: folder for the certificate, its recordings and what they need"),
    FLAG("json", json, "list: print for programs; show: print the document's bytes as signed"),
    FLAG("csv", csv, "print as CSV"),
};

static const struct es_command_line line = {
    .program = "endstop certificate",
    .summary = "lists, shows, releases, amends, voids, exports certificates; takes down what was found",
    .detail =
        "Exit status of show: 0 when the verdict is pass, 1 when it is another, 3 for the record of a "
        "run that "
        "was not completed. It does not check the signature: \"endstop verify\" does. "
        "amend has the daemon issue a certificate anew, with a number of its own, where what people supplied "
        "about the visit was wrong; test, values and verdict stay. "
        "found keeps what a unit turned out to have (a cause as the likely causes name it, or \"no fault "
        "found\"); how often faults occur is then taken from such findings, too.",
    .example = "endstop certificate show Bench-000017",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "list|show|release|amend|void|export|recordings|found NUMBER|FILE [WHAT]",
                 .min = 1,
                 .max = 3,
                 .offset = offsetof(struct arguments, words),
                 .meaning =
                     "what to do; all but list take a number, show a file too (\"-\": standard input), "
                     "which needs no daemon; recordings lists them, or writes the "
                     "one named as CSV; found takes what was found"},
};

/* Where certificates come from: the daemon, or the state folder. */
struct source {
    struct es_talk *talk;
    struct es_store *store;
};

/* show: a file that lies here needs no source. */
static bool is_file(const struct arguments *a)
{
    const char *word = a->words.count > 1 ? a->words.items[1] : "";
    size_t length = strlen(word);
    bool ending = length > 5 && strcmp(word + length - 5, ".json") == 0;
    return a->state == NULL && strcmp(a->words.items[0], "show") == 0 &&
           (strcmp(word, "-") == 0 || strchr(word, '/') != NULL || ending);
}

static enum es_status open_source(const struct arguments *a, struct source *from, struct es_error *err)
{
    if (is_file(a))
        return ES_OK;
    if (a->state != NULL)
        return es_store_open(a->state, ES_STORE_READ, &from->store, err);
    return es_talk_open(a->socket, NULL, &from->talk, err);
}

static void close_source(struct source *from)
{
    es_talk_close(from->talk);
    es_store_close(from->store);
}

/* ---- list ---- */

static const char *const fields[] = {"number", "kind",  "issued",  "serial", "type",
                                     "plan",   "state", "verdict", "fault"};
#define FIELD_COUNT (sizeof fields / sizeof fields[0])

struct listing {
    const struct arguments *a;
    struct es_table *table;
    struct es_text json;
};

static void list_one(struct listing *l, const char *const values[FIELD_COUNT])
{
    if (l->a->csv) {
        es_csv_row(stdout, values, FIELD_COUNT);
    } else if (l->a->json) {
        es_json_object(&l->json, NULL);
        for (size_t i = 0; i < FIELD_COUNT; i++)
            es_json_text(&l->json, fields[i], values[i]);
        es_json_end_object(&l->json);
    } else {
        bool record = values[1] != NULL && strcmp(values[1], "record") == 0;
        const char *verdict = values[8] != NULL && values[8][0] != '\0' ? values[8]
                              : record                                  ? "not completed"
                                                                        : values[7];
        char issued[24] = ""; /* to the minute: 2026-02-03 10:11 */
        if (values[2] != NULL && strlen(values[2]) >= 16)
            snprintf(issued, sizeof issued, "%.10s %.5s", values[2], values[2] + 11);
        const char *cells[] = {values[0], verdict, values[3], values[4], values[5], values[6], issued};
        bool fine = verdict != NULL && strcmp(verdict, "pass") == 0;
        es_table_row(l->table, fine ? ES_PLAIN : ES_STRONG, cells);
    }
}

static enum es_status list_store(struct listing *l, struct es_store *store, struct es_error *err)
{
    struct es_store_list list = {0};
    struct es_store_filter filter = {.serial = l->a->serial, .since = l->a->since};
    enum es_status s = es_store_certificates(store, &filter, &list, err);
    for (size_t i = 0; s == ES_OK && i < list.count; i++) {
        const struct es_store_entry *e = &list.items[i];
        const char *values[FIELD_COUNT] = {e->number, e->kind,  e->issued,  e->serial, e->type,
                                           e->plan,   e->state, e->verdict, e->fault};
        list_one(l, values);
    }
    es_store_list_free(&list);
    return s;
}

static enum es_status list_page(struct listing *l, struct es_talk *talk, long long from, bool *more,
                                long long *next, struct es_error *err)
{
    struct es_text request = {0};
    es_talk_begin(talk, &request, "certificates");
    if (l->a->serial != NULL)
        es_json_text(&request, "serial", l->a->serial);
    if (l->a->since != NULL)
        es_json_text(&request, "since", l->a->since);
    es_json_integer(&request, "from", from);
    struct es_document *reply = NULL;
    enum es_status s = es_talk_ask(talk, &request, &reply, err);
    es_text_free(&request);
    if (s != ES_OK)
        return s;
    const cJSON *entry;
    *next = from;
    cJSON_ArrayForEach(entry, es_member(es_document_root(reply), "certificates"))
    {
        const char *values[FIELD_COUNT];
        for (size_t i = 0; i < FIELD_COUNT; i++)
            values[i] = es_member_text(entry, fields[i]);
        list_one(l, values);
        ++*next;
    }
    *more = es_member_true(es_document_root(reply), "more");
    es_document_free(reply);
    return ES_OK;
}

static enum es_status list(const struct arguments *a, const struct source *from,
                           const struct es_screen *screen, struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Number"},
        {.title = "Verdict"},
        {.title = "Serial", .wraps = true},
        {.title = "Type", .wraps = true, .least = 10},
        {.title = "Plan", .wraps = true, .least = 12},
        {.title = "State", .wraps = true},
        {.title = "Issued (UTC)", .wraps = true, .least = 10},
    };
    struct listing l = {.a = a, .table = es_table_new(columns, sizeof columns / sizeof columns[0])};
    enum es_status s = ES_OK;
    if (a->csv)
        es_csv_row(stdout, fields, FIELD_COUNT);
    if (a->json)
        es_json_array(&l.json, NULL);
    if (from->store != NULL) {
        s = list_store(&l, from->store, err);
    } else {
        bool more = true;
        for (long long at = 0; s == ES_OK && more;)
            s = list_page(&l, from->talk, at, &more, &at, err);
    }
    if (s == ES_OK && a->json) {
        es_json_end_array(&l.json);
        s = es_text_status(&l.json, err);
        if (s == ES_OK)
            printf("%s\n", l.json.bytes);
    } else if (s == ES_OK && !a->csv) {
        if (l.table != NULL && es_table_rows(l.table) == 0)
            puts("no certificates");
        else
            s = es_table_print(l.table, screen->width, 0, screen->colour, stdout, err);
    }
    es_text_free(&l.json);
    es_table_free(l.table);
    return s;
}

/* ---- show ---- */

static enum es_status fetch(const struct source *from, const char *number, char **bytes, size_t *length,
                            struct es_error *err)
{
    if (from->store == NULL && from->talk == NULL)
        return es_file_read(NULL, number, ES_DOCUMENT_MAX, bytes, length, err);
    if (from->store != NULL)
        return es_store_latest(from->store, number, bytes, length, NULL, err);
    struct es_text request = {0};
    es_talk_begin(from->talk, &request, "certificate");
    es_json_text(&request, "number", number);
    struct es_document *reply = NULL;
    enum es_status s = es_talk_ask(from->talk, &request, &reply, err);
    es_text_free(&request);
    if (s != ES_OK)
        return s;
    const char *text = es_member_text(es_document_root(reply), "certificate");
    *bytes = strdup(text);
    *length = strlen(text);
    es_document_free(reply);
    return *bytes != NULL ? ES_OK : es_fail(err, ES_NO_MEMORY, "not enough memory for the certificate");
}

static enum es_status check_kind(const char *file, const cJSON *root, struct es_error *err)
{
    const char *format = cJSON_GetStringValue(cJSON_GetObjectItem(root, "endstop"));
    if (format != NULL && strncmp(format, "certificate/", 12) == 0)
        return ES_OK;
    return es_fail(err, ES_BAD_INPUT, "%s: not a certificate (\"endstop\": \"certificate/1\")%s%.40s", file,
                   format != NULL ? " but " : "", format != NULL ? format : "");
}

/* The result before it beside it; one that is not here is left out. */
static enum es_status show_before(const struct source *from, const cJSON *root,
                                  const struct es_screen *screen, struct es_error *err)
{
    const char *number = es_before_number(root);
    char *bytes = NULL;
    size_t length = 0;
    struct es_error why;
    if (number == NULL || fetch(from, number, &bytes, &length, &why) != ES_OK)
        return ES_OK;
    enum es_status s = es_before_print(bytes, length, root, screen, stdout, err);
    free(bytes);
    return s;
}

static enum es_status show(const struct arguments *a, const struct source *from,
                           const struct es_screen *screen, int *exit_status, struct es_error *err)
{
    if (a->words.count < 2)
        return es_fail(err, ES_USAGE,
                       "show needs a certificate's file or number; \"endstop certificate list\" lists them");
    char *bytes = NULL;
    size_t length = 0;
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status s = fetch(from, a->words.items[1], &bytes, &length, err);
    if (s == ES_OK)
        s = es_document_parse(a->words.items[1], bytes, length, &findings, &doc, err);
    if (s == ES_BAD_INPUT)
        s = es_findings_status(&findings, err);
    if (s == ES_OK && is_file(a))
        s = check_kind(a->words.items[1], es_document_root(doc), err);
    if (s == ES_OK) {
        const cJSON *root = es_document_root(doc);
        *exit_status = es_certificate_view_exit(root);
        if (a->json)
            (void)fwrite(bytes, 1, length, stdout);
        else if (a->csv)
            es_certificate_view_csv(root, stdout);
        else
            s = es_certificate_view_print(root, screen, stdout, err);
        if (s == ES_OK && !is_file(a) && !a->json && !a->csv)
            s = show_before(from, root, screen, err);
        if (s == ES_OK && is_file(a) && !a->json && !a->csv)
            printf("This file's signature was not checked: endstop verify %s\n", a->words.items[1]);
        if (s == ES_OK && !a->json && !a->csv)
            s = es_certificate_view_again(root, screen, 1, stdout, err);
    }
    es_document_free(doc);
    es_findings_free(&findings);
    free(bytes);
    return s;
}

static enum es_status found(const struct arguments *a, struct es_error *err)
{
    const struct es_found_order order = {.state = a->state,
                                         .number = a->words.count > 1 ? a->words.items[1] : NULL,
                                         .found = a->words.count > 2 ? a->words.items[2] : NULL,
                                         .person = a->person,
                                         .note = a->note,
                                         .table = a->table};
    return es_certificate_found(&order, stdout, err);
}

static enum es_status amend(const struct arguments *a, struct es_error *err)
{
    const struct es_amend_order order = {.socket = a->socket,
                                         .number = a->words.count > 1 ? a->words.items[1] : NULL,
                                         .because = a->because,
                                         .person = a->person,
                                         .sets = a->sets.items,
                                         .set_count = a->sets.count};
    return es_certificate_ask_amend(&order, stdout, err);
}

/* The acts on one certificate; false when `what` is none of them. */
static bool act(const struct arguments *a, const char *what, enum es_status *s, struct es_error *err)
{
    const struct es_certificate_act order = {.number = a->words.count > 1 ? a->words.items[1] : NULL,
                                             .state = a->state,
                                             .key = a->key,
                                             .passphrase_file = a->passphrase_file,
                                             .name = a->name,
                                             .reason = a->reason,
                                             .socket = a->socket,
                                             .bench_passphrase_file = a->bench_passphrase_file,
                                             .to = a->to,
                                             .recording = a->words.count > 2 ? a->words.items[2] : NULL};
    if (strcmp(what, "found") == 0 || strcmp(what, "amend") == 0) {
        *s = strcmp(what, "found") == 0 ? found(a, err) : amend(a, err);
        return true;
    }
    bool release = strcmp(what, "release") == 0, is_void = strcmp(what, "void") == 0;
    bool export = strcmp(what, "export") == 0;
    if (!release && !is_void && !export && strcmp(what, "recordings") != 0)
        return false;
    if (order.number == NULL)
        *s = es_fail(err, ES_USAGE, "%s needs the number of a certificate", what);
    else if (release || is_void)
        *s = es_certificate_countersign(&order, is_void, err);
    else
        *s = export ? es_certificate_export(&order, err) : es_certificate_recordings(&order, err);
    return true;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_certificate, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct source from = {0};
    const char *what = a.words.items[0];
    bool listing = strcmp(what, "list") == 0;
    enum es_status s = ES_OK;
    if (act(&a, what, &s, &err))
        return s == ES_OK ? es_verb_end(&es_verb_certificate, 0)
                          : es_verb_fail(&es_verb_certificate, &err, NULL);
    if (listing)
        s = es_verb_check_since(a.since, &err);
    if (!listing && strcmp(what, "show") != 0)
        s = es_fail(&err, ES_USAGE,
                    "\"%s\" is none of list, show, release, amend, void, export, recordings, found", what);
    else if (a.json && a.csv)
        s = es_fail(&err, ES_USAGE, "--json and --csv exclude each other");
    if (s == ES_OK)
        s = open_source(&a, &from, &err);
    status = 0;
    if (s == ES_OK)
        s = listing ? list(&a, &from, screen, &err) : show(&a, &from, screen, &status, &err);
    close_source(&from);
    return s == ES_OK ? es_verb_end(&es_verb_certificate, status)
                      : es_verb_fail(&es_verb_certificate, &err, NULL);
}

const struct es_verb es_verb_certificate = {.line = &line, .name = "certificate", .run = run};
