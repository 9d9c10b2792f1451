/* A state folder with real, signed certificates of invented units, for tests of log and archive. */
#ifndef ES_TESTS_ARCHIVE_VISITS_H
#define ES_TESTS_ARCHIVE_VISITS_H

#include "results/store/store.h"

struct visits {
    char folder[64];
    struct es_store *store; /* open for writing */
    struct es_key *key;
    struct es_trusted_key trusted;
};

void visits_open(struct visits *v);  /* makes everything */
void visits_close(struct visits *v); /* removes everything */
/* Closes and opens the store again, as a new start does. */
void visits_restart(struct visits *v);

struct visit { /* NULL and 0: what the sample has */
    const char *serial, *type, *state, *issued, *customer, *replaces, *instrument;
    const char *lot, *supplier;
    const char *cause; /* likeliest, in the interpretation */
    double leak, U;    /* of the first measurand, Nl/h; the limit is 3 */
};

/* Builds, signs, stores; not yet sealed. */
enum es_status visits_issue(struct visits *v, const struct visit *visit,
                            char number[static ES_STORE_NUMBER_MAX]);
/* The same and sealed; fails the program when anything fails. */
void visits_add(struct visits *v, const struct visit *visit);

/* A further signature, release or void (then with a reason), by a key of a second person; in the log. */
void visits_sign(struct visits *v, const char *number, bool is_void, const char *when);
extern const unsigned char visits_second_seed[32]; /* of that key */

/* "certificates/NUMBER.json" and the like, read and written whole without care. */
char *visits_read(const struct visits *v, const char *file, size_t *length);
void visits_write(const struct visits *v, const char *file, const char *bytes, size_t length);

#endif
