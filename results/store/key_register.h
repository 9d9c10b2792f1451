/* The bench's book of keys, keys/register.jsonl: which keys it has had and trusts, for what, from when until
 * when, and which were revoked, each line with who and when. Format: docs/keys.md. */
#ifndef ES_STORE_KEY_REGISTER_H
#define ES_STORE_KEY_REGISTER_H

#include "results/certificate/certificate.h"
#include "results/store/store.h"

struct es_key_change {
    const char *what; /* "made", "trusted", "replaced", "revoked" */
    const char *who, *when;
    const char *key;                    /* thumbprint */
    const char *from;                   /* since when it holds; NULL: `when` */
    const char *name;                   /* made, trusted: whose key it is */
    const char *roles;                  /* made, trusted: "bench", "release void"; NULL: anything */
    const char *reason;                 /* revoked: why; required */
    const struct es_public_key *public; /* made, trusted: the key itself */
};

/* Adds lines, all or none, durably. Waits for another writer; needs no lock of the store. A key that is
 * revoked already or not known cannot be revoked: ES_REFUSED, ES_NOT_FOUND; nor can a known one be made or
 * trusted again: ES_REFUSED. */
enum es_status es_key_register_add(struct es_store *store, const struct es_key_change *changes, size_t count,
                                   struct es_error *err) ES_MUST_CHECK;

/* Everything in the book, one entry a key, in order of its first line. Texts are the list's. */
enum es_status es_key_register_read(struct es_store *store, struct es_store_trust *out,
                                    struct es_error *err) ES_MUST_CHECK;

/* ---- The list that others are given: "keys/1" (docs/keys.md) ---- */

/* As JSON text, to be freed. */
enum es_status es_key_list_write(const struct es_store_trust *keys, char **out,
                                 struct es_error *err) ES_MUST_CHECK;
enum es_status es_key_list_parse(const char *name, const char *text, size_t length,
                                 struct es_store_trust *out, struct es_error *err) ES_MUST_CHECK;

#endif
