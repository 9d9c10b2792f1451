/* What the workshop found when it opened units that this bench had judged: the book repairs.jsonl in the
 * state folder, one JSON object a line, {"found", "number", "person", "when"} and, where known, "note" and
 * the unit's "type". It only grows; the last line of a certificate's number counts, so that a finding can be
 * corrected. Format: docs/state-folder.md. */
#ifndef ES_STORE_REPAIRS_H
#define ES_STORE_REPAIRS_H

#include "results/store/store.h"

#define ES_REPAIR_NONE     "no fault found"
#define ES_REPAIR_TEXT_MAX 300 /* bytes of a note */

struct es_repair {
    char *number; /* of the certificate */
    char *found;  /* the cause's name, or ES_REPAIR_NONE */
    char *person, *when;
    char *note; /* NULL: none */
    char *type; /* of the unit, by its certificate; NULL: not known. es_repairs_add looks for it itself */
};

struct es_repairs {
    struct es_repair *items; /* one a certificate, in the order of their first lines */
    size_t count;
};

/* Adds one, durably. Waits for another writer; needs no lock of the store. ES_NOT_FOUND: there is no such
 * certificate here. ES_BAD_INPUT: no person, an empty finding or a note that is too long. */
enum es_status es_repairs_add(struct es_store *store, const struct es_repair *repair,
                              struct es_error *err) ES_MUST_CHECK;

/* All that counts. No book yet: none. A line that is not as it should be: ES_BAD_INPUT, and which. */
enum es_status es_repairs_read(struct es_store *store, struct es_repairs *out,
                               struct es_error *err) ES_MUST_CHECK;
void es_repairs_free(struct es_repairs *repairs); /* what is in it */

#endif
