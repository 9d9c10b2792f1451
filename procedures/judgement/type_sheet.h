/* A type sheet: what a kind of unit must meet. A JSON document, format "type-sheet/1", reference in
 * docs/type-sheet-file.md, JSON Schema in docs/schema/type-sheet-1.schema.json.
 * Read once, immutable afterwards, may be shared by threads. */
#ifndef ES_JUDGEMENT_TYPE_SHEET_H
#define ES_JUDGEMENT_TYPE_SHEET_H

#include "procedures/judgement/outcome.h"
#include "rig/base/document.h"

enum es_action { ES_SINGLE_ACTING, ES_DOUBLE_ACTING }; /* double-acting units have output 2 too */
enum es_motion { ES_LINEAR, ES_PART_TURN };            /* travel in m, or in rad */

/* A number that procedures may name in place of a number of their own: "nominal supply". */
struct es_type_quantity {
    char *name;
    struct es_quantity written; /* coherent value, the unit as written, decimals as written */
};

struct es_type {
    char *name;  /* short identity: "example-l1" */
    char *title; /* as people call it */
    char *version;
    char digest[65]; /* SHA-256 of the document's bytes, lower-case hex */
    enum es_action action;
    enum es_motion motion;
    double highest_supply; /* Pa gauge: no procedure may command more to a unit of this type */
    double highest_loop;   /* A: same for the loop current */
    struct es_type_quantity *quantities;
    size_t quantity_count;
    struct es_limit *limits; /* names unique */
    size_t limit_count;
};

/* Reads and checks a type sheet. All faults of the document go to `findings` in one go (and ES_BAD_INPUT
 * is returned); a file that cannot be read is ES_IO or ES_NOT_FOUND. */
enum es_status es_type_load(const char *path, struct es_findings *findings, struct es_type **out,
                            struct es_error *err) ES_MUST_CHECK;
enum es_status es_type_from_document(const struct es_document *doc, struct es_findings *findings,
                                     struct es_type **out, struct es_error *err) ES_MUST_CHECK;
void es_type_free(struct es_type *type); /* NULL allowed */

/* NULL when the sheet has no such name. Borrowed from `type`. */
const struct es_type_quantity *es_type_quantity(const struct es_type *type, const char *name);
const struct es_limit *es_type_limit(const struct es_type *type, const char *name);

const char *es_action_word(enum es_action action); /* "single-acting", "double-acting" */
const char *es_motion_word(enum es_motion motion); /* "linear", "part-turn" */

#endif
