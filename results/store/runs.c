/* A run's life on disk:
 *
 *   (nothing) --es_store_run_begin--> OPEN --es_store_run_end--> CERTIFIED or NOT COMPLETED
 *
 * A process killed between the certificate and the end leaves an open run whose certificate names it:
 * es_store_runs finds it. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/store/inner.h"
#include "rig/base/text.h"

#define PART            "runs"
#define NAME_MAX_LENGTH 64
#define FILE_LIMIT      65536

static char *run_file(const struct es_store *store, const char *run, const char *file, struct es_error *err)
{
    char *folder = es_store_path(store, PART, run, err);
    struct es_text path = {0};
    char *out = NULL;
    if (folder) {
        es_text_printf(&path, "%s/%s", folder, file);
        if (es_text_take(&path, &out, err) != ES_OK) {
            out = NULL;
        }
    }
    es_text_free(&path);
    free(folder);
    return out;
}

static enum es_status check_name(const char *run, struct es_error *err)
{
    return es_store_is_name(run, NAME_MAX_LENGTH)
               ? ES_OK
               : es_fail(err, ES_BAD_INPUT,
                         "\"%.80s\" is not a run's identity: 1 to %d letters, digits, '-', '_', '.'", run,
                         NAME_MAX_LENGTH);
}

struct pair {
    const char *name, *value; /* value NULL: left out */
};

static enum es_status write_pairs(struct es_store *store, const char *run, const char *file,
                                  const char *format, const struct pair *pairs, size_t count,
                                  struct es_error *err)
{
    struct es_text text = {0};
    es_text_printf(&text, "{\"endstop\": \"%s\"", format);
    for (size_t i = 0; i < count; i++) {
        if (pairs[i].value) {
            es_text_printf(&text, ",\n \"%s\": ", pairs[i].name);
            es_text_json(&text, pairs[i].value);
        }
    }
    es_text_add(&text, "}\n");
    enum es_status st = es_text_status(&text, err);
    char *path = st == ES_OK ? run_file(store, run, file, err) : NULL;
    if (st == ES_OK && !path) {
        st = ES_NO_MEMORY;
    }
    if (st == ES_OK) {
        st = es_file_write(store->ops, path, ES_FILE_NEW, 0640, text.bytes, text.length, err);
    }
    free(path);
    es_text_free(&text);
    return st;
}

enum es_status es_store_run_folder(struct es_store *store, const char *run, char **path, struct es_error *err)
{
    enum es_status st = check_name(run, err);
    if (st != ES_OK) {
        return st;
    }
    char *made = es_store_path(store, PART, run, err);
    if (!made) {
        return ES_NO_MEMORY;
    }
    *path = made;
    return ES_OK;
}

enum es_status es_store_run_begin(struct es_store *store, const struct es_store_run *run,
                                  struct es_error *err)
{
    enum es_status st = es_store_may_write(store, err);
    if (st == ES_OK) {
        st = check_name(run->run, err);
    }
    if (st != ES_OK) {
        return st;
    }
    char *folder = es_store_path(store, PART, run->run, err);
    if (!folder) {
        return ES_NO_MEMORY;
    }
    st = es_folder_make(store->ops, folder, 0750, err);
    free(folder);
    if (st == ES_OK) {
        const struct pair pairs[] = {
            {"run", run->run},       {"began", run->began},     {"plan", run->plan},    {"type", run->type},
            {"serial", run->serial}, {"station", run->station}, {"person", run->person}};
        st = write_pairs(store, run->run, "run.json", "run/1", pairs, sizeof pairs / sizeof pairs[0], err);
    }
    return st == ES_OK ? st : es_error_context(err, st, "the run %s cannot begin", run->run);
}

enum es_status es_store_run_end(struct es_store *store, const char *run, const char *ended,
                                const char *number, const char *why, struct es_error *err)
{
    enum es_status st = es_store_may_write(store, err);
    if (st == ES_OK) {
        st = check_name(run, err);
    }
    if (st != ES_OK) {
        return st;
    }
    char *begun = run_file(store, run, "run.json", err);
    if (!begun) {
        return ES_NO_MEMORY;
    }
    bool exists = access(begun, F_OK) == 0;
    free(begun);
    if (!exists) {
        return es_fail(err, ES_NOT_FOUND, "no run %s was begun in %s", run, store->folder);
    }
    const struct pair pairs[] = {{"run", run}, {"ended", ended}, {"number", number}, {"why", why}};
    return write_pairs(store, run, "end.json", "run-end/1", pairs, sizeof pairs / sizeof pairs[0], err);
}

/* ---- Listing ---- */

static void clear_run(struct es_store_run *r)
{
    char *texts[] = {r->run,     r->began,  r->plan,  r->type,   r->serial,
                     r->station, r->person, r->ended, r->number, r->why};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        free(texts[i]);
    }
    *r = (struct es_store_run){0};
}

void es_store_runs_free(struct es_store_runs *runs)
{
    for (size_t i = 0; i < runs->count; i++) {
        clear_run(&runs->items[i]);
    }
    free(runs->items);
    *runs = (struct es_store_runs){0};
}

/* One of a run's files as a document. ES_NOT_FOUND when there is none; what cannot be read is said in err. */
static enum es_status read_file(struct es_store *store, const char *run, const char *file,
                                struct es_document **doc, struct es_error *err)
{
    char *path = run_file(store, run, file, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    char *bytes = NULL;
    size_t length = 0;
    enum es_status st = es_file_read(store->ops, path, FILE_LIMIT, &bytes, &length, err);
    if (st == ES_OK) {
        struct es_findings findings = {0};
        st = es_document_parse(path, bytes, length, &findings, doc, err);
        st = st == ES_BAD_INPUT ? es_findings_status(&findings, err) : st;
        es_findings_free(&findings);
    }
    free(bytes);
    free(path);
    return st;
}

static char *optional(const cJSON *object, const char *name, bool *ok)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    char *copy = text ? strdup(text) : NULL;
    *ok = *ok && (!text || copy);
    return copy;
}

static bool fill_begin(struct es_store_run *r, const char *run, const cJSON *root)
{
    r->run = strdup(run);
    r->began = es_store_member(root, "began");
    r->plan = es_store_member(root, "plan");
    r->type = es_store_member(root, "type");
    r->serial = es_store_member(root, "serial");
    r->station = es_store_member(root, "station");
    r->person = es_store_member(root, "person");
    return r->run && r->began && r->plan && r->type && r->serial && r->station && r->person;
}

static bool fill_end(struct es_store_run *r, const cJSON *root)
{
    bool ok = true;
    r->ended = optional(root, "ended", &ok);
    r->number = optional(root, "number", &ok);
    r->why = optional(root, "why", &ok);
    r->state = r->why ? ES_RUN_NOT_COMPLETED : ES_RUN_CERTIFIED;
    return ok;
}

/* ES_NOT_FOUND: the folder holds no run. A file that cannot be read makes the run one that was not completed.
 */
static enum es_status read_run(struct es_store *store, const char *run, struct es_store_run *r,
                               struct es_error *err)
{
    struct es_error why = {0};
    struct es_document *doc = NULL;
    *r = (struct es_store_run){.state = ES_RUN_OPEN};
    enum es_status st = read_file(store, run, "run.json", &doc, &why);
    if (st == ES_NOT_FOUND) {
        return st;
    }
    bool ok = st != ES_NO_MEMORY && fill_begin(r, run, st == ES_OK ? es_document_root(doc) : NULL);
    es_document_free(doc);
    doc = NULL;
    if (st == ES_OK) {
        st = read_file(store, run, "end.json", &doc, &why);
    }
    if (st == ES_OK) {
        ok = fill_end(r, es_document_root(doc)) && ok;
    } else if (st != ES_NOT_FOUND) {
        r->state = ES_RUN_NOT_COMPLETED;
        r->why = strdup(why.text);
        ok = ok && st != ES_NO_MEMORY && r->why;
    }
    es_document_free(doc);
    if (!ok) {
        clear_run(r);
        return es_fail(err, ES_NO_MEMORY, "no memory to list runs");
    }
    return ES_OK;
}

/* Writes what the killed process could not write any more, so that the next list need not search. No harm
 * when it fails: the search then finds it again. */
static void write_late_end(struct es_store *store, const struct es_store_run *r)
{
    struct es_error ignored;
    if (store->mode == ES_STORE_WRITE &&
        es_store_run_end(store, r->run, r->ended, r->number, r->why, &ignored) != ES_OK) {
        return;
    }
}

/* Gives open runs the certificate that names them. */
static enum es_status find_certificates(struct es_store *store, struct es_store_runs *runs,
                                        struct es_error *err)
{
    struct es_store_list list;
    enum es_status st = es_store_certificates(store, NULL, &list, err);
    if (st != ES_OK) {
        return st;
    }
    for (size_t i = 0; i < runs->count; i++) {
        struct es_store_run *r = &runs->items[i];
        for (size_t c = list.count; r->state == ES_RUN_OPEN && c > 0; c--) {
            const struct es_store_entry *e = &list.items[c - 1];
            if (e->fault || strcmp(e->run, r->run) != 0) {
                continue;
            }
            bool record = strcmp(e->kind, "record") == 0;
            r->state = record ? ES_RUN_NOT_COMPLETED : ES_RUN_CERTIFIED;
            r->number = strdup(e->number);
            r->ended = strdup(e->issued);
            r->why = record ? strdup("its record says why") : NULL;
            if (!r->number || !r->ended || (record && !r->why)) {
                st = es_fail(err, ES_NO_MEMORY, "no memory to list runs");
            } else {
                write_late_end(store, r);
            }
        }
    }
    es_store_list_free(&list);
    return st;
}

static int by_begin(const void *left, const void *right)
{
    const struct es_store_run *a = left;
    const struct es_store_run *b = right;
    int order = strcmp(a->began, b->began);
    return order ? order : strcmp(a->run, b->run);
}

enum es_status es_store_runs(struct es_store *store, struct es_store_runs *out, struct es_error *err)
{
    struct es_names names;
    enum es_status st = es_store_names(store, PART, &names, err);
    if (st != ES_OK) {
        return st;
    }
    struct es_store_runs runs = {.items = calloc(names.count + 1, sizeof *runs.items)};
    bool any_open = false;
    if (!runs.items) {
        st = es_fail(err, ES_NO_MEMORY, "no memory to list runs");
    }
    for (size_t i = 0; i < names.count && st == ES_OK; i++) {
        if (!es_store_is_name(names.items[i], NAME_MAX_LENGTH)) {
            continue;
        }
        st = read_run(store, names.items[i], &runs.items[runs.count], err);
        if (st == ES_OK) {
            any_open = any_open || runs.items[runs.count].state == ES_RUN_OPEN;
            runs.count++;
        } else if (st == ES_NOT_FOUND) {
            st = ES_OK;
        }
    }
    es_names_free(&names);
    if (st == ES_OK && any_open) {
        st = find_certificates(store, &runs, err);
    }
    if (st != ES_OK) {
        es_store_runs_free(&runs);
        return st;
    }
    qsort(runs.items, runs.count, sizeof *runs.items, by_begin);
    *out = runs;
    return ES_OK;
}
