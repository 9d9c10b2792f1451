#include "rig/client/certificate_found.h"

#include <string.h>

#include "procedures/judgement/detection.h"
#include "results/store/repairs.h"
#include "rig/base/clock.h"
#include "rig/base/nearest.h"
#include "rig/base/text.h"
#include "rig/client/verb.h"

/* Only causes that the table knows can move anything; a name of its own would be lost without a word. */
static enum es_status check_cause(const struct es_detection *table, const char *found, struct es_error *err)
{
    struct es_nearest near = {.word = found};
    struct es_text known = {0};
    if (strcmp(found, ES_REPAIR_NONE) == 0)
        return ES_OK;
    for (size_t i = 0; i < table->cause_count; i++) {
        if (strcmp(table->causes[i].name, found) == 0) {
            es_text_free(&known);
            return ES_OK;
        }
        es_nearest_offer(&near, table->causes[i].name);
        es_text_printf(&known, "%s\"%s\"", i > 0 ? ", " : "", table->causes[i].name);
    }
    enum es_status s =
        near.best != NULL
            ? es_fail(err, ES_USAGE, "no cause is called \"%s\"; did you mean \"%s\"?", found, near.best)
            : es_fail(err, ES_USAGE, "no cause is called \"%s\"; there are \"" ES_REPAIR_NONE "\", %s", found,
                      known.bytes != NULL ? known.bytes : "");
    es_text_free(&known);
    return s;
}

static enum es_status load_table(const char *path, struct es_detection **out, struct es_error *err)
{
    struct es_findings findings = {0};
    enum es_status s = es_detection_load(path, &findings, out, err);
    if (findings.count > 0)
        es_findings_print(&findings, stderr);
    es_findings_free(&findings);
    return s;
}

static enum es_status keep(const struct es_found_order *o, FILE *to, struct es_error *err)
{
    struct es_store *store = NULL;
    struct es_repairs all = {0};
    char user[64], now[32];
    es_verb_user(user);
    es_clock_wall_text(now);
    struct es_repair repair = {.number = (char *)(uintptr_t)o->number,
                               .found = (char *)(uintptr_t)o->found,
                               .person = o->person != NULL ? (char *)(uintptr_t)o->person : user,
                               .when = now,
                               .note = (char *)(uintptr_t)o->note};
    enum es_status s = es_store_open(o->state, ES_STORE_READ, &store, err);
    if (s == ES_OK)
        s = es_repairs_add(store, &repair, err);
    if (s == ES_OK)
        s = es_repairs_read(store, &all, err);
    if (s == ES_OK)
        fprintf(to, "kept: %s: %s, found by %s; %zu finding%s in the book\n", repair.number, repair.found,
                repair.person, all.count, all.count == 1 ? "" : "s");
    es_repairs_free(&all);
    es_store_close(store);
    return s;
}

enum es_status es_certificate_found(const struct es_found_order *o, FILE *to, struct es_error *err)
{
    struct es_detection *table = NULL;
    if (o->number == NULL || o->found == NULL)
        return es_fail(err, ES_USAGE, "found takes a certificate's number and what was found");
    if (o->state == NULL)
        return es_fail(err, ES_USAGE, "found writes into the state folder: name it by --state DIR");
    enum es_status s = load_table(o->table != NULL ? o->table : ES_DATA_DIR "/detection.json", &table, err);
    if (s == ES_OK)
        s = check_cause(table, o->found, err);
    es_detection_free(table);
    return s == ES_OK ? keep(o, to, err) : s;
}
