/* A type sheet: what a kind of unit must meet. A JSON document, format "type-sheet/1", reference in
 * docs/type-sheet-file.md, JSON Schema in docs/schema/type-sheet-1.schema.json.
 * Read once, immutable afterwards, may be shared by threads. */
#ifndef ES_JUDGEMENT_TYPE_SHEET_H
#define ES_JUDGEMENT_TYPE_SHEET_H

#include "procedures/judgement/outcome.h"
#include "rig/base/document.h"

enum es_action { ES_SINGLE_ACTING, ES_DOUBLE_ACTING }; /* double-acting units have output 2 too */
enum es_motion { ES_LINEAR, ES_PART_TURN };            /* travel in m, or in rad */
/* A spare relay module (relay with its I/P converter) stands on an adaptor block: no sensor, no shaft, no
 * travel, no electronics. Its motion means nothing. */
/* A self-proof block is no unit: it stands in a unit's place while the bench proves itself. */
enum es_unit_kind { ES_COMPLETE_UNIT, ES_RELAY_MODULE, ES_PROOF_BLOCK };
/* What a unit may have besides. */
enum es_fitted { ES_FITTED_FEEDBACK, ES_FITTED_SHUTDOWN, ES_FITTED_COUNT };

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
    enum es_unit_kind kind;
    bool fitted[ES_FITTED_COUNT];
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
const char *
es_unit_kind_word(enum es_unit_kind kind);         /* "complete unit", "relay module", "self-proof block" */
const char *es_fitted_word(enum es_fitted fitted); /* "position feedback", "shutdown module" */
/* Has a unit of this type what the role is about? A relay module has no travel, for example. */
bool es_type_has_role(const struct es_type *type, enum es_role role);

#endif
