/* Beside its signature, what else can be said of a certificate's file: the seal that lies beside it (its
 * place in the bench's log), what the bench's state folder knows of it since, and what an archive knows. */
#ifndef ES_CLIENT_VERIFY_SEAL_H
#define ES_CLIENT_VERIFY_SEAL_H

#include <stdio.h>

#include "rig/base/text.h"
#include "rig/client/trust.h"

enum es_beside {
    ES_BESIDE_NOT_ASKED, /* nothing was looked at; `text` says what would be */
    ES_BESIDE_HOLDS,
    ES_BESIDE_FAILS /* the file must not be relied upon: the seal does not hold, it was taken out of force or
                       replaced since, or it is not what was logged */
};

struct es_beside_answer {
    enum es_beside state;
    char text[400]; /* one sentence */
};

struct es_verify_beside {
    struct es_beside_answer seal, log, archive;
};

struct es_beside_order {
    const char *file; /* its path; "-": standard input, which has nothing beside it */
    const char *bytes;
    size_t length;
    const char *number, *serial; /* as the certificate says */
    const struct es_trust *trust;
    const char *state, *archive; /* NULL: not given */
};

/* Other than ES_OK: it could not be done (memory, the state folder or the archive cannot be opened). */
enum es_status es_verify_beside(const struct es_beside_order *order, struct es_verify_beside *out,
                                struct es_error *err) ES_MUST_CHECK;
bool es_beside_fails(const struct es_verify_beside *beside);

/* Three lines for a person; members of an open object for a program. */
void es_beside_print(const struct es_verify_beside *beside, FILE *to);
void es_beside_json(const struct es_verify_beside *beside, struct es_text *out);

#endif
