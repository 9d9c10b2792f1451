/* What a certificate says beyond its lines: likely causes with evidence and the next check, or what may still
 * be wrong with a unit that passed. Reads the member "interpretation" (docs/certificate.md); trusts nothing
 * in it: texts are made harmless for the terminal. */
#ifndef ES_CLIENT_CERTIFICATE_CAUSES_H
#define ES_CLIENT_CERTIFICATE_CAUSES_H

#include <cjson/cJSON.h>

#include "rig/client/verb.h"

/* Nothing when the document has no such member. */
void es_certificate_view_causes(const cJSON *root, const struct es_screen *screen, FILE *to);

#endif
