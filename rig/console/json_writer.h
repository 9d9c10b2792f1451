/* JSON written piece by piece into a growing text, so that replies need no tree. Commas are put where they
 * belong; names and strings are escaped; numbers that are not finite become null. Errors are sticky in the
 * text. `name` NULL inside arrays. */
#ifndef ES_CONSOLE_JSON_WRITER_H
#define ES_CONSOLE_JSON_WRITER_H

#include "rig/base/text.h"

void es_json_object(struct es_text *t, const char *name); /* opens { */
void es_json_array(struct es_text *t, const char *name);  /* opens [ */
void es_json_end_object(struct es_text *t);
void es_json_end_array(struct es_text *t);

void es_json_text(struct es_text *t, const char *name, const char *value); /* NULL becomes null */
void es_json_number(struct es_text *t, const char *name, double value);
void es_json_integer(struct es_text *t, const char *name, long long value);
void es_json_bool(struct es_text *t, const char *name, bool value);
/* Text that is JSON already. */
void es_json_raw(struct es_text *t, const char *name, const char *json, size_t length);

#endif
