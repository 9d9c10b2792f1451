/* Entering what a person signed in the bench's log at once: by the daemon that holds the state folder, or,
 * where none runs, with the bench's own key. One thread. */
#ifndef ES_CLIENT_SEALING_H
#define ES_CLIENT_SEALING_H

#include "results/store/store.h"

struct es_sealing;

struct es_sealing_order {
    const char *state, *socket;        /* socket NULL: as es_talk_open */
    const char *person;                /* who asks; NULL: the system user */
    const char *bench_passphrase_file; /* of the bench's key, used where no daemon runs; NULL */
};

/* Makes sure that sealing will be possible, before anything is signed. ES_REFUSED and the like say what is
 * missing. */
enum es_status es_sealing_open(const struct es_sealing_order *order, struct es_sealing **out,
                               struct es_error *err) ES_MUST_CHECK;
/* Every signature of the certificate is in the log, and the proof of the file with `signatures` of them lies
 * beside it, when this returns ES_OK. */
enum es_status es_sealing_do(struct es_sealing *sealing, const char *number, size_t signatures,
                             struct es_error *err) ES_MUST_CHECK;
void es_sealing_close(struct es_sealing *sealing); /* NULL allowed */

#endif
