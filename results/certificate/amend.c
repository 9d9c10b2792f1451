#include "results/certificate/amend.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "results/certificate/format.h"
#include "results/certificate/tree.h"
#include "rig/base/clock.h"
#include "rig/base/text.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const struct {
    const char *word, *parent, *member; /* parent NULL: at the top */
} places[ES_AMEND_COUNT] = {
    [ES_AMEND_CUSTOMER] = {"customer", NULL, "customer"},
    [ES_AMEND_CONTACT] = {"customer contact", NULL, "customer_contact"},
    [ES_AMEND_REFERENCE] = {"customer reference", NULL, "customer_reference"},
    [ES_AMEND_TAG] = {"tag", "unit", "tag"},
    [ES_AMEND_LOT] = {"lot", "unit", "lot"},
    [ES_AMEND_SUPPLIER] = {"supplier", "unit", "supplier"},
    [ES_AMEND_REASON] = {"reason", NULL, "reason"},
    [ES_AMEND_PARTS] = {"parts replaced", NULL, "parts_replaced"},
    [ES_AMEND_RECEIVED] = {"date of receipt", "job", "received"},
    [ES_AMEND_CONDITION] = {"condition on receipt", "job", "condition"},
};

const char *es_amend_word(enum es_amend what)
{
    return what >= 0 && what < ES_AMEND_COUNT ? places[what].word : "?";
}

enum es_status es_amend_find(const char *word, enum es_amend *out, struct es_error *err)
{
    char known[256] = "";
    for (int i = 0; i < ES_AMEND_COUNT; i++) {
        if (strcmp(places[i].word, word) == 0) {
            *out = (enum es_amend)i;
            return ES_OK;
        }
        size_t used = strlen(known);
        (void)snprintf(known + used, sizeof known - used, "%s%s", i > 0 ? ", " : "", places[i].word);
    }
    return es_fail(
        err, ES_USAGE,
        "\"%.40s\" cannot be changed after the test; what people supplied can: %s. Anything else takes "
        "a new run",
        word, known);
}

/* ---- What is asked for ---- */

static enum es_status check_text(const char *what, const char *text, struct es_error *err)
{
    if (text[0] == '\0' || strlen(text) > ES_AMEND_TEXT_MAX) {
        return es_fail(err, ES_USAGE, "%s takes 1 to %d bytes of text", what, ES_AMEND_TEXT_MAX);
    }
    return es_text_check_line(what, text, err);
}

static enum es_status check_order(const struct es_amendment *a, struct es_error *err)
{
    if (!a->number || !a->issued || !a->software_version || !a->issuer_thumbprint || !a->person) {
        return es_fail(err, ES_INTERNAL, "an amendment without number, time, key or person");
    }
    enum es_status st = a->because ? check_text("why it is amended", a->because, err)
                                   : es_fail(err, ES_USAGE, "an amended certificate says why");
    for (int i = 0; st == ES_OK && i < ES_AMEND_COUNT; i++) {
        st = a->texts[i] ? check_text(places[i].word, a->texts[i], err) : ES_OK;
    }
    const char *received = a->texts[ES_AMEND_RECEIVED];
    int year = 0, month = 0, day = 0;
    if (st == ES_OK && received && !es_date_parse(received, &year, &month, &day)) {
        return es_fail(err, ES_USAGE, "the date of receipt is written like 2026-02-01, not \"%.40s\"",
                       received);
    }
    return st;
}

/* ---- The new document ---- */

struct amending {
    struct es_tree tree;
    cJSON *root;
    const struct es_amendment *a;
    cJSON *changes;
};

static cJSON *member(cJSON *object, const char *name)
{
    return cJSON_GetObjectItemCaseSensitive(object, name);
}

static void set(struct amending *m, cJSON *object, const char *name, const char *text)
{
    cJSON_DeleteItemFromObjectCaseSensitive(object, name);
    es_tree_text(&m->tree, object, name, text);
}

/* What was not given is, now. */
static void strike(cJSON *root, const char *word)
{
    cJSON *list = member(root, "not_given");
    for (int i = cJSON_GetArraySize(list) - 1; i >= 0; i--) {
        const char *name = cJSON_GetStringValue(cJSON_GetArrayItem(list, i));
        if (name && strcmp(name, word) == 0) {
            cJSON_DeleteItemFromArray(list, i);
        }
    }
    if (list && cJSON_GetArraySize(list) == 0) {
        cJSON_DeleteItemFromObjectCaseSensitive(root, "not_given");
    }
}

static void change(struct amending *m, enum es_amend what)
{
    const char *is = m->a->texts[what];
    cJSON *at = m->root;
    if (places[what].parent) {
        at = member(m->root, places[what].parent);
        at = at ? at : es_tree_object(&m->tree, m->root, places[what].parent);
    }
    const char *was = cJSON_GetStringValue(member(at, places[what].member));
    if (!is || m->tree.out_of_memory || (was && strcmp(was, is) == 0)) {
        return;
    }
    cJSON *said = es_tree_object(&m->tree, m->changes, NULL);
    es_tree_text(&m->tree, said, "what", places[what].word);
    es_tree_text(&m->tree, said, "was", was);
    es_tree_text(&m->tree, said, "is", is);
    set(m, at, places[what].member, is); /* `was` is gone now */
    strike(m->root, places[what].word);
}

/* Every change in words, so that whoever prints the statements prints it too; in place of the same sentence
 * about an earlier one. */
static void state(struct amending *m, const char *before)
{
    static const char begins[] = "This certificate amends ";
    cJSON *list = member(m->root, "statements");
    for (int i = cJSON_GetArraySize(list) - 1; i >= 0; i--) {
        const char *text = cJSON_GetStringValue(cJSON_GetArrayItem(list, i));
        if (text && strncmp(text, begins, sizeof begins - 1) == 0) {
            cJSON_DeleteItemFromArray(list, i);
        }
    }
    struct es_text text = {0};
    es_text_printf(&text, "%s%s, as %s asked:", begins, before, m->a->person);
    const cJSON *said = NULL;
    cJSON_ArrayForEach(said, m->changes)
    {
        const char *what = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(said, "what"));
        const char *was = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(said, "was"));
        const char *is = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(said, "is"));
        es_text_printf(&text, " %s is \"%s\", ", what ? what : "?", is ? is : "?");
        if (was) {
            es_text_printf(&text, "was \"%s\";", was);
        } else {
            es_text_add(&text, "was not given;");
        }
    }
    es_text_add(&text, " the test, its values and its verdict are the same.");
    m->tree.out_of_memory = m->tree.out_of_memory || text.out_of_memory;
    es_tree_text(&m->tree, list, NULL, text.bytes);
    es_text_free(&text);
}

static void set_head(struct amending *m, const char *before)
{
    const struct es_amendment *a = m->a;
    cJSON *issuer = member(m->root, "issuer");
    char software[80];
    (void)snprintf(software, sizeof software, "endstop %s", a->software_version);
    set(m, issuer, "key", a->issuer_thumbprint);
    set(m, issuer, "software", software);
    cJSON_DeleteItemFromObjectCaseSensitive(issuer, "clock_synchronised");
    es_tree_bool(&m->tree, issuer, "clock_synchronised", a->clock_synchronised);
    set(m, m->root, "replaces", before);
    set(m, m->root, "replaces_because", a->because);
    set(m, m->root, "number", a->number);
    set(m, m->root, "issued", a->issued);
}

static enum es_status rewrite(struct amending *m, char **out, size_t *length, struct es_error *err)
{
    char before[64];
    (void)snprintf(before, sizeof before, "%s", cJSON_GetStringValue(member(m->root, "number")));
    cJSON_DeleteItemFromObjectCaseSensitive(m->root, ES_SIGNATURES_MEMBER);
    cJSON_DeleteItemFromObjectCaseSensitive(m->root, "amended");
    m->changes = es_tree_array(&m->tree, m->root, "amended");
    for (int i = 0; i < ES_AMEND_COUNT; i++) {
        if (m->a->texts[i]) {
            change(m, (enum es_amend)i);
        }
    }
    if (!m->tree.out_of_memory && cJSON_GetArraySize(m->changes) == 0) {
        return es_fail(err, ES_USAGE, "%s says all of that already: there is nothing to amend", before);
    }
    set_head(m, before);
    state(m, before);
    return m->tree.out_of_memory ? es_fail(err, ES_NO_MEMORY, "no memory to amend a certificate")
                                 : es_canonical_write(m->root, out, length, err);
}

static enum es_status check_kind(cJSON *root, struct es_error *err)
{
    const char *format = cJSON_GetStringValue(member(root, "endstop"));
    const char *kind = cJSON_GetStringValue(member(root, "kind"));
    if (!format || strcmp(format, ES_CERTIFICATE_FORMAT) != 0 || !kind ||
        !cJSON_IsString(member(root, "number")) || !cJSON_IsObject(member(root, "issuer")) ||
        !cJSON_IsArray(member(root, "statements"))) {
        return es_fail(err, ES_BAD_INPUT, "this is no certificate that could be amended");
    }
    if (strcmp(kind, "certificate") != 0) {
        return es_fail(err, ES_REFUSED, "%s is the record of a run that was not completed; it is not amended",
                       cJSON_GetStringValue(member(root, "number")));
    }
    return ES_OK;
}

enum es_status es_certificate_amend(const char *bytes, size_t length, const struct es_amendment *a,
                                    char **out, size_t *out_length, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    struct amending m = {.a = a};
    enum es_status st = check_order(a, err);
    if (st != ES_OK) {
        return st;
    }
    st = es_document_parse("certificate", bytes, length, &findings, &doc, err);
    if (st == ES_BAD_INPUT) {
        st = es_findings_status(&findings, err);
    }
    if (st == ES_OK && !(m.root = cJSON_Duplicate(es_document_root(doc), true))) {
        st = es_fail(err, ES_NO_MEMORY, "no memory to amend a certificate");
    }
    if (st == ES_OK) {
        st = check_kind(m.root, err);
    }
    if (st == ES_OK) {
        st = rewrite(&m, out, out_length, err);
    }
    cJSON_Delete(m.root);
    es_document_free(doc);
    es_findings_free(&findings);
    return st;
}
