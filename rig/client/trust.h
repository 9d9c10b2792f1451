/* The public keys that a check of certificates trusts: given ones, and those of a state folder. */
#ifndef ES_CLIENT_TRUST_H
#define ES_CLIENT_TRUST_H

#include "results/store/store.h"
#include "rig/console/options.h"

#define ES_TRUST_MAX 256

struct es_trust {
    struct es_trusted_key keys[ES_TRUST_MAX];
    char *names[ES_TRUST_MAX]; /* owned; keys[i].name points here */
    size_t count;
    struct es_store_trust lists[ES_OPTION_LIST_MAX + 1]; /* what the keys' texts belong to */
    size_t list_count;
};

/* `files`: public keys (PEM or JWK). `state` (NULL: none): all keys that this bench has had or trusts. A key
 * that is given several times is bound by all that is said of it. */
enum es_status es_trust_load(const struct es_option_list *files, const char *state, struct es_trust *trust,
                             struct es_error *err) ES_MUST_CHECK;
/* `lists`: files as "endstop key list --json" writes them. */
enum es_status es_trust_load_lists(const struct es_option_list *lists, struct es_trust *trust,
                                   struct es_error *err) ES_MUST_CHECK;
void es_trust_clear(struct es_trust *trust);

#endif
