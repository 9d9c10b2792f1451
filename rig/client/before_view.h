/* The result before adjustment or repair beside the one after it (ISO/IEC 17025:2017 7.8.4.1 d). */
#ifndef ES_CLIENT_BEFORE_VIEW_H
#define ES_CLIENT_BEFORE_VIEW_H

#include <cjson/cJSON.h>

#include "rig/client/verb.h"

/* Number of the certificate that stands under "before"; NULL: none does. Borrowed. */
const char *es_before_number(const cJSON *root);

/* One row a measurand that both judged. `bytes`: those of that certificate. Nothing is printed when they
 * are not those that `root` names by digest: ES_NOT_VALID. */
enum es_status es_before_print(const char *bytes, size_t length, const cJSON *root,
                               const struct es_screen *screen, FILE *to, struct es_error *err) ES_MUST_CHECK;

#endif
