/* The proof of one procedure's measurands. Internal to the engine. */
#ifndef ES_ENGINE_CHECK_LINES_H
#define ES_ENGINE_CHECK_LINES_H

#include "procedures/engine/walk.h"

/* Names of facts that measures may count on: the station's, the type sheet's, what was measured earlier. */
struct es_known_facts {
    const char **names;
    size_t count, capacity;
    struct es_facts numbers; /* station and type sheet; what is measured later has no number yet */
};

bool es_known_facts_add(struct es_known_facts *facts, const char *name); /* false: out of memory */
bool es_known_facts_has(const struct es_known_facts *facts, const char *name);

/* Adds one line a result to the walk's report and its faults to the walk's findings; then the outputs of the
 * procedure's measures to `facts`. `label`: what the plan calls the procedure. */
enum es_status es_check_lines(struct es_walk *walk, const char *label, struct es_known_facts *facts,
                              struct es_error *err) ES_MUST_CHECK;

/* Why this bench cannot do the procedure, or the measurand, for this type, or why such units cannot undergo
 * it; false when all is there. Used by the engine too. `size` > 0; `text` is written only on true. */
bool es_lacks_for_procedure(const struct es_procedure *p, const struct es_type *type,
                            bool (*has)(const void *self, enum es_role role), const void *self, char *text,
                            size_t size);
bool es_lacks_for_measurand(const struct es_measurand *m, bool (*has)(const void *self, enum es_role role),
                            const void *self, char *text, size_t size);

#endif
