/* Words for quantities and limits; shared by the files that explain. Internal to the engine. */
#ifndef ES_ENGINE_SAY_H
#define ES_ENGINE_SAY_H

#include <stdio.h>

#include "procedures/engine/procedure.h"
#include "procedures/judgement/outcome.h"

/* "4.0 bar"; with a type sheet "nominal supply (4.0 bar)". Always terminated. */
void es_say_amount(const struct es_amount *amount, enum es_role role, const struct es_type *type, char *out,
                   size_t size);
/* "at most 3.0 Nl/h", "58.00 to 62.00 deg"; "no limit" when both sides are open. */
void es_say_limit(const struct es_limit *limit, char *out, size_t size);
/* One step as a sentence; brief: for progress, without what happens otherwise and without what is asked on
 * other benches. Always terminated; returns the length needed. */
size_t es_say_step(const struct es_step *step, const struct es_type *type, bool brief, char *out,
                   size_t size);
/* Prints words with the first line after `first`, the others indented by as much. */
void es_wrap(FILE *to, int width, int indent, const char *first, const char *text);
/* "3 min 20 s". */
void es_say_duration(double seconds, char *out, size_t size);

#endif
