#include "results/store/key_register.h"

#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/format.h"
#include "results/certificate/tree.h"
#include "results/store/inner.h"
#include "results/store/lines.h"

#define LIST_FORMAT "keys/1"

static const char *text_of(const cJSON *object, const char *name)
{
    return cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
}

/* ---- Entries ---- */

static struct es_trusted_key *find(struct es_store_trust *keys, const char *thumbprint)
{
    for (size_t i = 0; i < keys->count; i++) {
        if (strcmp(keys->items[i].key.thumbprint, thumbprint) == 0) {
            return &keys->items[i];
        }
    }
    return NULL;
}

/* *slot takes a copy of `text`; NULL leaves it. */
static bool put(const char **slot, const char *text)
{
    if (!text) {
        return true;
    }
    free((char *)(uintptr_t)*slot);
    *slot = strdup(text);
    return *slot != NULL;
}

static enum es_status no_memory(struct es_error *err)
{
    return es_fail(err, ES_NO_MEMORY, "no memory for the book of keys");
}

static enum es_status parse_jwk(const char *name, const cJSON *jwk, struct es_public_key *key,
                                struct es_error *err)
{
    char *text = NULL;
    size_t length = 0;
    enum es_status st = es_canonical_write(jwk, &text, &length, err);
    if (st == ES_OK) {
        st = es_public_key_parse(name, text, length, key, err);
    }
    free(text);
    return st;
}

static enum es_status add_entry(struct es_store_trust *keys, const struct es_public_key *key,
                                struct es_trusted_key **out, struct es_error *err)
{
    struct es_trusted_key *items = reallocarray(keys->items, keys->count + 1, sizeof *items);
    if (!items) {
        return no_memory(err);
    }
    keys->items = items;
    items[keys->count] = (struct es_trusted_key){.key = *key};
    *out = &items[keys->count++];
    return ES_OK;
}

/* ---- Lines -> entries ---- */

static enum es_status take_new(const cJSON *line, struct es_store_trust *keys, struct es_error *err)
{
    struct es_public_key key;
    struct es_trusted_key *entry = NULL;
    enum es_status st =
        parse_jwk("the book of keys", cJSON_GetObjectItemCaseSensitive(line, "jwk"), &key, err);
    if (st == ES_OK) {
        st = add_entry(keys, &key, &entry, err);
    }
    if (st == ES_OK &&
        (!put(&entry->name, text_of(line, "name")) || !put(&entry->roles, text_of(line, "roles")) ||
         !put(&entry->from, text_of(line, "from")))) {
        st = no_memory(err);
    }
    return st;
}

static enum es_status take_line(const cJSON *line, struct es_store_trust *keys, struct es_error *err)
{
    const char *what = text_of(line, "what");
    const char *thumbprint = text_of(line, "key");
    const char *from = text_of(line, "from");
    if (!what || !thumbprint || (from && !es_is_utc_time(from))) {
        return es_fail(err, ES_BAD_INPUT, "a line lacks \"what\" or \"key\", or its \"from\" is no time");
    }
    struct es_trusted_key *entry = find(keys, thumbprint);
    bool is_new = strcmp(what, "made") == 0 || strcmp(what, "trusted") == 0;
    if (is_new == (entry != NULL)) {
        return es_fail(err, ES_BAD_INPUT, "a line says \"%.20s\" of key %.60s, which %s", what, thumbprint,
                       entry ? "is known already" : "is not known");
    }
    if (is_new) {
        return take_new(line, keys, err);
    }
    if (strcmp(what, "replaced") == 0) {
        return put(&entry->until, from ? from : text_of(line, "when")) ? ES_OK : no_memory(err);
    }
    if (strcmp(what, "revoked") == 0) {
        return put(&entry->revoked, from ? from : text_of(line, "when")) &&
                       put(&entry->because, text_of(line, "reason"))
                   ? ES_OK
                   : no_memory(err);
    }
    return es_fail(err, ES_BAD_INPUT, "a line says \"%.20s\", which this program does not know", what);
}

enum es_status es_key_register_read(struct es_store *store, struct es_store_trust *out, struct es_error *err)
{
    struct es_lines lines = {0};
    struct es_store_trust keys = {0};
    char *path = es_store_path(store, "keys", "register.jsonl", err);
    enum es_status st = path ? es_lines_read(store->ops, path, &lines, err) : ES_NO_MEMORY;
    for (size_t i = 0; i < lines.count && st == ES_OK; i++) {
        st = take_line(es_lines_at(&lines, i), &keys, err);
        if (st != ES_OK) {
            st = es_error_context(err, st, "%s: line %zu", path, i + 1);
        }
    }
    es_lines_free(&lines);
    free(path);
    if (st != ES_OK) {
        es_store_trust_free(&keys);
        return st;
    }
    *out = keys;
    return ES_OK;
}

/* ---- Changes -> lines ---- */

static cJSON *line_of(const struct es_key_change *c, struct es_tree *t)
{
    cJSON *line = cJSON_CreateObject();
    es_tree_text(t, line, "what", c->what);
    es_tree_text(t, line, "key", c->key);
    es_tree_text(t, line, "who", c->who);
    es_tree_text(t, line, "when", c->when);
    es_tree_text(t, line, "from", c->from ? c->from : c->when);
    es_tree_text(t, line, "name", c->name);
    es_tree_text(t, line, "roles", c->roles);
    es_tree_text(t, line, "reason", c->reason);
    if (c->public) {
        char jwk[ES_PUBLIC_KEY_TEXT_MAX];
        es_public_key_jwk(c->public, jwk);
        es_tree_item(t, line, "jwk", cJSON_Parse(jwk));
    }
    return line;
}

static enum es_status write_change(const struct es_key_change *c, struct es_text *to, struct es_error *err)
{
    struct es_tree t = {0};
    cJSON *line = line_of(c, &t);
    char *bytes = NULL;
    size_t length = 0;
    enum es_status st = t.out_of_memory ? no_memory(err) : es_canonical_write(line, &bytes, &length, err);
    if (st == ES_OK) {
        es_text_append(to, bytes, length);
        es_text_char(to, '\n');
    }
    free(bytes);
    cJSON_Delete(line);
    return st;
}

static enum es_status check_change(const struct es_key_change *c, struct es_store_trust *known,
                                   struct es_error *err)
{
    const struct es_trusted_key *entry = find(known, c->key);
    bool revokes = strcmp(c->what, "revoked") == 0;
    if (c->from && !es_is_utc_time(c->from)) {
        return es_fail(err, ES_USAGE, "\"%.40s\" is no time in UTC (2026-02-03T10:11:12Z)", c->from);
    }
    if (c->public) {
        return entry ? es_fail(err, ES_REFUSED, "key %s stands in the book already", c->key) : ES_OK;
    }
    if (!entry) {
        return es_fail(err, ES_NOT_FOUND, "key %.60s does not stand in the bench's book of keys", c->key);
    }
    if (revokes && entry->revoked) {
        return es_fail(err, ES_REFUSED, "key %s is revoked already, from %s on", c->key, entry->revoked);
    }
    if (revokes && (!c->reason || !c->reason[0])) {
        return es_fail(err, ES_USAGE, "a key is not revoked without a reason");
    }
    return ES_OK;
}

static enum es_status add_locked(struct es_store *store, const char *path,
                                 const struct es_key_change *changes, size_t count, struct es_error *err)
{
    struct es_store_trust known = {0};
    struct es_text text = {0};
    enum es_status st = es_key_register_read(store, &known, err);
    for (size_t i = 0; i < count && st == ES_OK; i++) {
        st = check_change(&changes[i], &known, err);
        if (st == ES_OK) {
            st = write_change(&changes[i], &text, err);
        }
    }
    if (st == ES_OK) {
        st = es_text_status(&text, err);
    }
    if (st == ES_OK) {
        st = es_lines_append(store->ops, path, 0644, text.bytes, err);
    }
    es_text_free(&text);
    es_store_trust_free(&known);
    return st;
}

enum es_status es_key_register_add(struct es_store *store, const struct es_key_change *changes, size_t count,
                                   struct es_error *err)
{
    struct es_lines_lock lock = {.fd = -1};
    char *path = es_store_path(store, "keys", "register.jsonl", err);
    char *lock_path = path ? es_store_path(store, "keys", "register.lock", err) : NULL;
    enum es_status st = lock_path ? es_lines_lock(lock_path, 0640, &lock, err) : ES_NO_MEMORY;
    if (st == ES_OK) {
        st = add_locked(store, path, changes, count, err);
        es_lines_unlock(&lock);
    }
    free(lock_path);
    free(path);
    return st;
}

/* ---- The list for others ---- */

enum es_status es_key_list_write(const struct es_store_trust *keys, char **out, struct es_error *err)
{
    struct es_tree t = {0};
    cJSON *root = cJSON_CreateObject();
    size_t length = 0;
    es_tree_text(&t, root, "endstop", LIST_FORMAT);
    cJSON *list = es_tree_array(&t, root, "keys");
    for (size_t i = 0; i < keys->count; i++) {
        const struct es_trusted_key *k = &keys->items[i];
        char jwk[ES_PUBLIC_KEY_TEXT_MAX];
        cJSON *item = es_tree_object(&t, list, NULL);
        es_public_key_jwk(&k->key, jwk);
        es_tree_item(&t, item, "key", cJSON_Parse(jwk));
        es_tree_text(&t, item, "name", k->name);
        es_tree_text(&t, item, "roles", k->roles);
        es_tree_text(&t, item, "from", k->from);
        es_tree_text(&t, item, "until", k->until);
        es_tree_text(&t, item, "revoked", k->revoked);
        es_tree_text(&t, item, "because", k->because);
    }
    enum es_status st = t.out_of_memory ? no_memory(err) : es_canonical_write(root, out, &length, err);
    cJSON_Delete(root);
    return st;
}

static enum es_status take_listed(const char *name, const cJSON *item, struct es_store_trust *keys,
                                  struct es_error *err)
{
    struct es_public_key key;
    struct es_trusted_key *k = NULL;
    enum es_status st = parse_jwk(name, cJSON_GetObjectItemCaseSensitive(item, "key"), &key, err);
    if (st == ES_OK) {
        st = add_entry(keys, &key, &k, err);
    }
    if (st != ES_OK) {
        return st;
    }
    const struct {
        const char *name;
        const char **slot;
        bool time;
    } texts[] = {{"name", &k->name, false},  {"roles", &k->roles, false},    {"from", &k->from, true},
                 {"until", &k->until, true}, {"revoked", &k->revoked, true}, {"because", &k->because, false}};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        const cJSON *member = cJSON_GetObjectItemCaseSensitive(item, texts[i].name);
        const char *text = cJSON_GetStringValue(member);
        if (member && (!text || (texts[i].time && !es_is_utc_time(text)))) {
            return es_fail(err, ES_BAD_INPUT, "%s: \"%s\" of key %s is no %s", name, texts[i].name,
                           key.thumbprint, texts[i].time ? "time in UTC (2026-02-03T10:11:12Z)" : "text");
        }
        if (!put(texts[i].slot, text)) {
            return no_memory(err);
        }
    }
    return ES_OK;
}

enum es_status es_key_list_parse(const char *name, const char *text, size_t length,
                                 struct es_store_trust *out, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct es_store_trust keys = {0};
    enum es_status st = es_document_parse(name, text, length, &findings, &doc, err);
    st = st == ES_BAD_INPUT ? es_findings_status(&findings, err) : st;
    const cJSON *root = st == ES_OK ? es_document_root(doc) : NULL;
    const char *format = text_of(root, "endstop");
    const cJSON *list = cJSON_GetObjectItemCaseSensitive(root, "keys");
    const cJSON *item = NULL;
    if (st == ES_OK && (!format || strcmp(format, LIST_FORMAT) != 0 || !cJSON_IsArray(list))) {
        st = es_fail(err, ES_BAD_INPUT,
                     "%s: not a list of keys (\"endstop\": \"" LIST_FORMAT "\"), as endstop key list --json "
                     "writes it",
                     name);
    }
    for (item = list ? list->child : NULL; item && st == ES_OK; item = item->next) {
        st = take_listed(name, item, &keys, err);
    }
    es_document_free(doc);
    es_findings_free(&findings);
    if (st != ES_OK) {
        es_store_trust_free(&keys);
        return st;
    }
    *out = keys;
    return ES_OK;
}
