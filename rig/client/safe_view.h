/* A safe state's report as a person wants to read it. */
#ifndef ES_CLIENT_SAFE_VIEW_H
#define ES_CLIENT_SAFE_VIEW_H

#include <cjson/cJSON.h>

#include "rig/client/verb.h"

/* One line when it was reached in time, else also what is not safe. NULL: nothing. */
void es_safe_view_print(const cJSON *safe, const struct es_screen *screen, FILE *to);

#endif
