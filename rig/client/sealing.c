#include "rig/client/sealing.h"

#include <stdlib.h>
#include <unistd.h>

#include "results/store/books.h"
#include "rig/base/clock.h"
#include "rig/client/talk.h"
#include "rig/console/json_writer.h"

struct es_sealing {
    struct es_store *store; /* for writing where `key` is, else for reading */
    struct es_key *key;     /* the bench's own; NULL: the daemon is asked */
    struct es_talk *talk;
};

/* Nobody else writes to the folder: the bench's key does it. */
static enum es_status open_key(const struct es_sealing_order *order, struct es_sealing *s,
                               struct es_error *err)
{
    const struct es_passphrase from_file = es_passphrase_of_file(order->bench_passphrase_file);
    struct es_error why;
    enum es_status st = es_store_key_load_with(
        s->store, order->bench_passphrase_file != NULL ? &from_file : NULL, &s->key, &why);
    return st == ES_OK
               ? st
               : es_fail(err, st,
                         "nothing was signed, since it could not be entered in the log: no daemon runs "
                         "on this folder, and with the bench's key it does not work: %s. Start "
                         "endstopd, or give --bench-passphrase-file",
                         why.text);
}

static enum es_status open_daemon(const struct es_sealing_order *order, struct es_sealing *s,
                                  struct es_error *err)
{
    struct es_error why;
    enum es_status st = es_store_open(order->state, ES_STORE_READ, &s->store, err);
    if (st != ES_OK)
        return st;
    st = es_talk_open(order->socket, order->person, &s->talk, &why);
    return st == ES_OK ? st
                       : es_fail(err, st,
                                 "nothing was signed, since it could not be entered in the log: another "
                                 "program holds the folder, and %s",
                                 why.text);
}

enum es_status es_sealing_open(const struct es_sealing_order *order, struct es_sealing **out,
                               struct es_error *err)
{
    struct es_sealing *s = calloc(1, sizeof *s);
    if (s == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to seal a certificate");
    enum es_status st = es_store_open(order->state, ES_STORE_WRITE, &s->store, err);
    if (st == ES_OK)
        st = open_key(order, s, err);
    else if (st == ES_REFUSED)
        st = open_daemon(order, s, err);
    if (st != ES_OK) {
        es_sealing_close(s);
        return st;
    }
    *out = s;
    return ES_OK;
}

static enum es_status ask_daemon(struct es_talk *talk, const char *number, struct es_error *err)
{
    struct es_text request = {0};
    struct es_document *reply = NULL;
    es_talk_begin(talk, &request, "seal");
    es_json_text(&request, "number", number);
    enum es_status st = es_talk_ask(talk, &request, &reply, err);
    es_document_free(reply);
    es_text_free(&request);
    return st;
}

enum es_status es_sealing_do(struct es_sealing *s, const char *number, size_t signatures,
                             struct es_error *err)
{
    char now[32];
    char *path = NULL;
    es_clock_wall_text(now);
    enum es_status st =
        s->key != NULL ? es_store_seal(s->store, s->key, number, now, err) : ask_daemon(s->talk, number, err);
    if (st == ES_OK && s->key != NULL)
        st = es_store_seal_books(s->store, s->key, now, err);
    if (st == ES_OK)
        st = es_store_seal_path(s->store, number, signatures, &path, err);
    /* The daemon that answers may be another bench's. */
    if (st == ES_OK && access(path, F_OK) != 0)
        st = es_fail(err, ES_NOT_FOUND,
                     "%s is not there: the daemon that answered looks after another folder (--socket)", path);
    free(path);
    return st;
}

void es_sealing_close(struct es_sealing *s)
{
    if (s == NULL)
        return;
    es_talk_close(s->talk);
    es_key_free(s->key);
    es_store_close(s->store);
    free(s);
}
