/* "endstop certificate found": what the workshop found in a unit goes into the book of repairs
 * (results/store/repairs.h), by which the likely causes of later units move. */
#ifndef ES_CLIENT_CERTIFICATE_FOUND_H
#define ES_CLIENT_CERTIFICATE_FOUND_H

#include <stdio.h>

#include "rig/base/error.h"

struct es_found_order {
    const char *state;          /* folder; NULL: ES_USAGE */
    const char *number, *found; /* certificate; cause, or "no fault found"; NULL: ES_USAGE */
    const char *person;         /* NULL: the system user */
    const char *note;           /* NULL: none */
    const char *table;          /* file that knows the causes; NULL: the installed one */
};

/* Durable when ES_OK; says so on `to`. A cause that the table does not know is refused, with the nearest. */
enum es_status es_certificate_found(const struct es_found_order *order, FILE *to,
                                    struct es_error *err) ES_MUST_CHECK;

#endif
