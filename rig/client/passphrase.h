/* Where a key's passphrase comes from: a file that only its owner can read, or the terminal with its echo
 * off. */
#ifndef ES_CLIENT_PASSPHRASE_H
#define ES_CLIENT_PASSPHRASE_H

#include "results/certificate/key.h"

struct es_passphrase_source {
    const char *file;  /* first line of this file; NULL: the terminal */
    bool twice;        /* a new passphrase is asked for twice; at the terminal only */
    const char *label; /* "new passphrase of"; NULL: "passphrase of" */
};

/* `source` must outlive what is returned. */
struct es_passphrase es_passphrase_from(struct es_passphrase_source *source);

#endif
