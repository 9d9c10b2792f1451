/* What there is to choose from in a folder: names of files without their ending, sorted. Calls may run in any
 * thread. */
#ifndef ES_CONSOLE_CHOICES_H
#define ES_CONSOLE_CHOICES_H

#include <stddef.h>

#include "rig/base/text.h"

struct es_choices {
    char **items;
    size_t count;
};

/* Files of `folder` that end in `ending` (".plan.json", ".json"; the latter leaves the former out); at most
 * 1000. ES_NOT_FOUND, ES_IO: the folder cannot be read. */
enum es_status es_choices_read(const char *folder, const char *ending, struct es_choices *out,
                               struct es_error *err) ES_MUST_CHECK;
void es_choices_free(struct es_choices *names);

/* Adds what there is to a sentence: "there are "a" and "b"", "there is only "a"", "there is none in FOLDER".
 */
void es_choices_tell(const char *folder, const char *ending, struct es_text *out);

#endif
