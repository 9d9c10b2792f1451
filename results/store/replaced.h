/* Which certificate replaces which (ISO/IEC 17025:2017 7.8.8): a correction is a new certificate that names
 * the one it replaces and why; the old one stays where it is. */
#ifndef ES_STORE_REPLACED_H
#define ES_STORE_REPLACED_H

#include "results/store/store.h"

/* The certificate of this folder that replaces `number`. ES_NOT_FOUND: none does. Reads certificates from the
 * newest on until it finds one. */
enum es_status es_store_replaced_by(struct es_store *store, const char *number,
                                    char by[static ES_STORE_NUMBER_MAX], struct es_error *err) ES_MUST_CHECK;

/* Whether a test of unit `serial` may replace `number`: it exists, is of this unit, was not replaced already
 * and is not void. ES_NOT_FOUND or ES_REFUSED says what stands against it. */
enum es_status es_store_may_replace(struct es_store *store, const char *number, const char *serial,
                                    struct es_error *err) ES_MUST_CHECK;

#endif
