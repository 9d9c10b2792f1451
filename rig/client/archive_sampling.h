/* Sampling plans for incoming lots. */
#ifndef ES_CLIENT_ARCHIVE_SAMPLING_H
#define ES_CLIENT_ARCHIVE_SAMPLING_H

#include "rig/client/verb.h"

struct es_sampling_order {
    const char *lot;        /* units in the lot, as text */
    const char *aql;        /* per cent, as text; NULL with `good` and `bad` */
    const char *level;      /* "I", "II" (NULL), "III" */
    const char *good, *bad; /* shares in per cent for a plan of one's own: accepted at least 95 times in 100,
                               and at most 10 times */
    const char *svg;        /* NULL: no plot */
    bool json, csv;
};

/* The plan, and how often it accepts lots by their share of bad units. */
enum es_status es_sampling_tell(const struct es_sampling_order *order, const struct es_screen *screen,
                                struct es_error *err) ES_MUST_CHECK;

#endif
