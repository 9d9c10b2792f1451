/* The acts of "endstop key" on a bench's book of keys. */
#ifndef ES_CLIENT_KEY_BOOK_H
#define ES_CLIENT_KEY_BOOK_H

#include "results/store/key_register.h"
#include "rig/client/verb.h"

struct es_key_arguments {
    const struct es_screen *screen;
    struct es_option_list what;
    const char *state, *key, *passphrase_file, *new_passphrase_file, *name, *roles, *from, *reason, *person;
    char now[32]; /* RFC 3339 UTC */
    bool sealed, jwk, pem, json;
};

void es_key_show(const struct es_key_arguments *a, const struct es_public_key *key, const char *path);

/* `path` is not used: the book is the state folder's. */
enum es_status es_key_book_list(const struct es_key_arguments *a, const char *path, struct es_error *err);
enum es_status es_key_book_trust(const struct es_key_arguments *a, const char *path, struct es_error *err);
enum es_status es_key_book_revoke(const struct es_key_arguments *a, const char *path, struct es_error *err);

#endif
