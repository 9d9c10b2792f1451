#include "results/store/replaced.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/content.h"
#include "results/store/inner.h"
#include "results/store/signed.h"

struct reading {
    char *bytes;
    struct es_document *doc;
    struct es_content content;
};

static enum es_status take(const char *number, char *bytes, size_t length, struct reading *r,
                           struct es_error *err)
{
    struct es_findings findings = {0};
    *r = (struct reading){.bytes = bytes};
    enum es_status st = es_document_parse(number, bytes, length, &findings, &r->doc, err);
    st = st == ES_BAD_INPUT ? es_findings_status(&findings, err) : st;
    es_findings_free(&findings);
    return st == ES_OK ? es_content_read(es_document_root(r->doc), &r->content, err) : st;
}

static void drop(struct reading *r)
{
    es_content_free(&r->content);
    es_document_free(r->doc);
    free(r->bytes);
}

/* Whether the file says so. `mark`: what its bytes hold then, so that the others need not be read as JSON. */
static enum es_status replaces(struct es_store *store, const char *number, const char *mark,
                               const char *replaced, bool *yes, struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    struct reading r = {.bytes = NULL};
    *yes = false;
    enum es_status st = es_store_certificate(store, number, &bytes, &length, err);
    if (st != ES_OK || !memmem(bytes, length, mark, strlen(mark))) {
        free(bytes);
        return st == ES_NO_MEMORY ? st : ES_OK; /* one that cannot be read says nothing */
    }
    st = take(number, bytes, length, &r, err);
    *yes = st == ES_OK && strcmp(r.content.replaces, replaced) == 0;
    drop(&r);
    return st == ES_NO_MEMORY ? st : ES_OK;
}

enum es_status es_store_replaced_by(struct es_store *store, const char *number,
                                    char by[static ES_STORE_NUMBER_MAX], struct es_error *err)
{
    struct es_names numbers = {0};
    char mark[ES_STORE_NUMBER_MAX + 32];
    bool found = false;
    if (!es_store_is_name(number, ES_STORE_NUMBER_MAX - 1)) {
        return es_fail(err, ES_BAD_INPUT, "\"%.80s\" is not a certificate's number", number);
    }
    (void)snprintf(mark, sizeof mark, "\"replaces\":\"%s\"", number);
    enum es_status st = es_store_numbers(store, &numbers, err);
    for (size_t i = numbers.count; i > 0 && st == ES_OK && !found; i--) {
        st = replaces(store, numbers.items[i - 1], mark, number, &found, err);
        if (found) {
            (void)snprintf(by, ES_STORE_NUMBER_MAX, "%s", numbers.items[i - 1]);
        }
    }
    es_names_free(&numbers);
    return st != ES_OK || found ? st : es_fail(err, ES_NOT_FOUND, "nothing replaces %s", number);
}

static enum es_status check_old(const struct es_content *old, const char *serial, struct es_error *err)
{
    if (strcmp(old->serial, serial) != 0) {
        return es_fail(err, ES_REFUSED,
                       "certificate %s is of unit %s, not %s: it cannot be replaced by one of %s",
                       old->number, old->serial, serial, serial);
    }
    for (size_t i = 0; i < old->signature_count; i++) {
        if (strcmp(old->signatures[i].role, ES_ROLE_OF_VOID) == 0) {
            return es_fail(err, ES_REFUSED,
                           "certificate %s is void since %s (%s); there is nothing in force to replace",
                           old->number, old->signatures[i].time, old->signatures[i].reason);
        }
    }
    return ES_OK;
}

enum es_status es_store_may_replace(struct es_store *store, const char *number, const char *serial,
                                    struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    char by[ES_STORE_NUMBER_MAX];
    struct reading r = {.bytes = NULL};
    enum es_status st = es_store_latest(store, number, &bytes, &length, NULL, err);
    if (st != ES_OK) {
        return st;
    }
    st = take(number, bytes, length, &r, err);
    if (st == ES_OK) {
        st = check_old(&r.content, serial, err);
    }
    drop(&r);
    if (st != ES_OK) {
        return st;
    }
    st = es_store_replaced_by(store, number, by, err);
    if (st == ES_NOT_FOUND) {
        return ES_OK;
    }
    return st == ES_OK ? es_fail(err, ES_REFUSED,
                                 "certificate %s was replaced by %s already; replace that one", number, by)
                       : st;
}
