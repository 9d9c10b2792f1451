#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "results/store/inner.h"
#include "rig/base/digest.h"

#define PART        "certificates"
#define ENDING      ".json"
#define PREFIX_MOST 24

/* ---- Numbers ---- */

/* PREFIX-000123[.json] -> its counter; 0 when `name` is no number (of this prefix, when one is given). */
static unsigned long counter_of(const char *name, const char *prefix, size_t *prefix_length)
{
    const char *dash = strrchr(name, '-');
    if (!dash || dash == name) {
        return 0;
    }
    size_t digits = strspn(dash + 1, "0123456789");
    const char *rest = dash + 1 + digits;
    bool ends = *rest == 0 || strcmp(rest, ENDING) == 0;
    size_t length = (size_t)(dash - name);
    if (digits < 6 || digits > 9 || !ends ||
        (prefix && (strlen(prefix) != length || memcmp(prefix, name, length) != 0))) {
        return 0;
    }
    if (prefix_length) {
        *prefix_length = length;
    }
    return strtoul(dash + 1, NULL, 10);
}

static bool is_prefix(const char *prefix)
{
    static const char good[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-";
    size_t n = strlen(prefix);
    return n > 0 && n <= PREFIX_MOST && strspn(prefix, good) == n;
}

/* Fills store->highest for the prefix; counted once, then kept. */
static enum es_status count_numbers(struct es_store *store, const char *prefix, struct es_error *err)
{
    if (store->prefix && strcmp(store->prefix, prefix) == 0) {
        return ES_OK;
    }
    char *copy = strdup(prefix);
    if (!copy) {
        return es_fail(err, ES_NO_MEMORY, "no memory to count certificates");
    }
    struct es_names names;
    enum es_status st = es_store_names(store, PART, &names, err);
    if (st != ES_OK) {
        free(copy);
        return st;
    }
    unsigned long highest = 0;
    for (size_t i = 0; i < names.count; i++) {
        unsigned long n = counter_of(names.items[i], prefix, NULL);
        highest = n > highest ? n : highest;
    }
    es_names_free(&names);
    free(store->prefix);
    store->prefix = copy;
    store->highest = highest;
    return ES_OK;
}

static void forget_numbers(struct es_store *store)
{
    free(store->prefix);
    store->prefix = NULL;
}

static char *certificate_path(const struct es_store *store, const char *number, struct es_error *err)
{
    char name[ES_STORE_NUMBER_MAX + sizeof ENDING];
    (void)snprintf(name, sizeof name, "%s" ENDING, number);
    return es_store_path(store, PART, name, err);
}

/* Writes under a name that nothing has had. When it fails after the name came to be, the name is taken back;
 * where even that fails the text says so, and the number is not used again. */
static enum es_status put_certificate(struct es_store *store, const char *path, const char *bytes,
                                      size_t length, struct es_error *err)
{
    enum es_status st = es_file_write(store->ops, path, ES_FILE_NEW, 0640, bytes, length, err);
    if (st == ES_OK || st == ES_REFUSED) {
        return st;
    }
    if (access(path, F_OK) == 0 && es_file_remove(store->ops, path, NULL) != ES_OK &&
        access(path, F_OK) == 0) {
        return es_error_context(err, st,
                                "not durable for certain, and it could not be taken back; do not rely on it");
    }
    return st;
}

enum es_status es_store_issue(struct es_store *store, const char *prefix, const struct es_store_maker *maker,
                              char number[static ES_STORE_NUMBER_MAX], struct es_error *err)
{
    enum es_status st = es_store_may_write(store, err);
    if (st != ES_OK) {
        return st;
    }
    if (!is_prefix(prefix)) {
        return es_fail(err, ES_USAGE,
                       "\"%.40s\" cannot begin a certificate's number: 1 to %d letters, digits or '-'",
                       prefix, PREFIX_MOST);
    }
    st = count_numbers(store, prefix, err);
    if (st != ES_OK) {
        return st;
    }
    char made[ES_STORE_NUMBER_MAX];
    (void)snprintf(made, sizeof made, "%s-%06lu", prefix, store->highest + 1);
    char *bytes = NULL;
    size_t length = 0;
    st = maker->make(maker->self, made, &bytes, &length, err);
    if (st != ES_OK) {
        return st;
    }
    char *path = certificate_path(store, made, err);
    st = path ? put_certificate(store, path, bytes, length, err) : ES_NO_MEMORY;
    free(path);
    free(bytes);
    if (st != ES_OK) {
        forget_numbers(store);
        return es_error_context(err, st, "certificate %s was not written", made);
    }
    store->highest++;
    memcpy(number, made, sizeof made);
    return ES_OK;
}

/* ---- Reading ---- */

enum es_status es_store_certificate(struct es_store *store, const char *number, char **bytes, size_t *length,
                                    struct es_error *err)
{
    if (!es_store_is_name(number, ES_STORE_NUMBER_MAX - 1)) {
        return es_fail(err, ES_BAD_INPUT, "\"%.80s\" is not a certificate's number", number);
    }
    char *path = certificate_path(store, number, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    enum es_status st = es_file_read(store->ops, path, ES_DOCUMENT_MAX, bytes, length, err);
    if (st == ES_NOT_FOUND) {
        st = es_fail(err, ES_NOT_FOUND, "there is no certificate %s in %s", number, store->folder);
    }
    free(path);
    return st;
}

static void clear_entry(struct es_store_entry *e)
{
    char *texts[] = {e->kind,  e->issued,  e->serial, e->type,     e->plan,
                     e->state, e->verdict, e->run,    e->customer, e->fault};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        free(texts[i]);
    }
    *e = (struct es_store_entry){0};
}

void es_store_list_free(struct es_store_list *list)
{
    for (size_t i = 0; i < list->count; i++) {
        clear_entry(&list->items[i]);
    }
    free(list->items);
    *list = (struct es_store_list){0};
}

/* All texts of an entry from the document, which may be NULL. False when memory is refused. */
static bool fill_texts(struct es_store_entry *e, const cJSON *root)
{
    const cJSON *unit = cJSON_GetObjectItemCaseSensitive(root, "unit");
    const cJSON *run = cJSON_GetObjectItemCaseSensitive(root, "run");
    const cJSON *plan = cJSON_GetObjectItemCaseSensitive(root, "plan");
    const cJSON *type = cJSON_GetObjectItemCaseSensitive(root, "type_sheet");
    e->kind = es_store_member(root, "kind");
    e->issued = es_store_member(root, "issued");
    e->serial = es_store_member(unit, "serial");
    e->type = es_store_member(type, "name");
    e->plan = es_store_member(plan, "name");
    e->state = es_store_member(root, "state");
    e->verdict = es_store_member(root, "verdict");
    e->run = es_store_member(run, "id");
    e->customer = es_store_member(root, "customer");
    return e->kind && e->issued && e->serial && e->type && e->plan && e->state && e->verdict && e->run &&
           e->customer;
}

static const char *document_fault(const cJSON *root, const char *number)
{
    const char *format = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "endstop"));
    const char *inside = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "number"));
    if (!format || strncmp(format, "certificate/", 12) != 0) {
        return "this file is not a certificate";
    }
    return inside && strcmp(inside, number) == 0 ? NULL : "the number inside is another than the file's name";
}

/* Reads one file into an entry. Only memory can fail; a bad file becomes an entry with its fault. */
static enum es_status read_entry(struct es_store *store, const char *number, struct es_store_entry *e,
                                 struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    struct es_error why = {0};
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    *e = (struct es_store_entry){0};
    (void)snprintf(e->number, sizeof e->number, "%s", number);
    enum es_status st = es_store_certificate(store, number, &bytes, &length, &why);
    if (st == ES_OK) {
        e->bytes = length;
        es_digest_hex(bytes, length, e->digest);
        st = es_document_parse(number, bytes, length, &findings, &doc, &why);
        st = st == ES_BAD_INPUT ? es_findings_status(&findings, &why) : st;
    }
    const cJSON *root = st == ES_OK ? es_document_root(doc) : NULL;
    const char *fault = st == ES_OK ? document_fault(root, number) : why.text;
    bool ok = fill_texts(e, root) && (!fault || (e->fault = strdup(fault)));
    es_document_free(doc);
    es_findings_free(&findings);
    free(bytes);
    if (!ok || st == ES_NO_MEMORY) {
        clear_entry(e);
        return es_fail(err, ES_NO_MEMORY, "no memory to list certificates");
    }
    return ES_OK;
}

static bool is_wanted(const struct es_store_entry *e, const struct es_store_filter *f)
{
    if (!f || e->fault) { /* a damaged certificate is never filtered away */
        return true;
    }
    return (!f->serial || strcmp(f->serial, e->serial) == 0) &&
           (!f->since || strcmp(e->issued, f->since) >= 0);
}

/* By prefix, then by counter: -1000000 comes after -999999. */
static int by_number(const void *left, const void *right)
{
    const char *a = *(char *const *)left;
    const char *b = *(char *const *)right;
    size_t length_a = strlen(a);
    size_t length_b = strlen(b);
    unsigned long n_a = counter_of(a, NULL, &length_a);
    unsigned long n_b = counter_of(b, NULL, &length_b);
    int order = strncmp(a, b, length_a < length_b ? length_a : length_b);
    if (order == 0 && length_a != length_b) {
        order = length_a < length_b ? -1 : 1;
    }
    return order ? order : (n_a > n_b) - (n_a < n_b);
}

enum es_status es_store_numbers(const struct es_store *store, struct es_names *out, struct es_error *err)
{
    struct es_names names;
    enum es_status st = es_store_names(store, PART, &names, err);
    if (st != ES_OK) {
        return st;
    }
    size_t kept = 0;
    for (size_t i = 0; i < names.count; i++) {
        char *name = names.items[i];
        size_t length = strlen(name);
        if (counter_of(name, NULL, NULL) == 0 || strcmp(name + length - (sizeof ENDING - 1), ENDING) != 0 ||
            length - (sizeof ENDING - 1) >= ES_STORE_NUMBER_MAX) {
            free(name);
            continue;
        }
        name[length - (sizeof ENDING - 1)] = 0;
        names.items[kept++] = name;
    }
    names.count = kept;
    if (kept > 1) {
        qsort(names.items, kept, sizeof *names.items, by_number);
    }
    *out = names;
    return ES_OK;
}

enum es_status es_store_certificates(struct es_store *store, const struct es_store_filter *filter,
                                     struct es_store_list *out, struct es_error *err)
{
    struct es_names numbers;
    enum es_status st = es_store_numbers(store, &numbers, err);
    if (st != ES_OK) {
        return st;
    }
    struct es_store_list list = {.items = calloc(numbers.count + 1, sizeof *list.items)};
    if (!list.items) {
        st = es_fail(err, ES_NO_MEMORY, "no memory to list certificates");
    }
    for (size_t i = 0; i < numbers.count && st == ES_OK; i++) {
        struct es_store_entry *e = &list.items[list.count];
        st = read_entry(store, numbers.items[i], e, err);
        if (st == ES_OK && is_wanted(e, filter)) {
            list.count++;
        } else if (st == ES_OK) {
            clear_entry(e);
        }
    }
    es_names_free(&numbers);
    if (st != ES_OK) {
        es_store_list_free(&list);
        return st;
    }
    *out = list;
    return ES_OK;
}
