/* A question of the run to its operator: shown with its caution, its answer read from standard input and
 * turned into a request's members. */
#ifndef ES_CLIENT_PROMPT_H
#define ES_CLIENT_PROMPT_H

#include "rig/client/progress.h"

/* Shows it on standard error. */
void es_prompt_show(struct es_progress *progress, const cJSON *question);

/* Understands one line. On ES_OK the members "answer", and "choice" or "number", were added to `request`. */
enum es_status es_prompt_understand(const cJSON *question, const char *line, struct es_text *request,
                                    struct es_error *err) ES_MUST_CHECK;

#endif
