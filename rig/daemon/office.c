#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "results/store/books.h"
#include "rig/base/clock.h"
#include "rig/base/text.h"
#include "rig/daemon/office_inner.h"

/* "Virtual bench" -> "Virtual-bench"; of a long name whole words, where there are some. */
static void make_prefix(const char *name, char out[static ES_OFFICE_PREFIX_SIZE])
{
    size_t n = 0;
    for (; *name != '\0' && n < ES_OFFICE_PREFIX_SIZE - 1; name++) {
        unsigned char c = (unsigned char)*name;
        if (c < 0x80 && isalnum(c))
            out[n++] = (char)c;
        else if (n > 0 && out[n - 1] != '-')
            out[n++] = '-';
    }
    out[n] = '\0';
    const char *cut = isalnum((unsigned char)*name) ? strrchr(out, '-') : NULL; /* within a word */
    if (cut != NULL)
        n = (size_t)(cut - out);
    while (n > 0 && out[n - 1] == '-')
        n--;
    out[n] = '\0';
    if (n == 0)
        memcpy(out, "bench", sizeof "bench");
}

/* One that was asked for is taken as it is, or not at all. */
static enum es_status take_prefix(struct es_office *o, const char *asked, struct es_error *err)
{
    if (asked == NULL) {
        make_prefix(o->options.bench->name, o->prefix);
        return ES_OK;
    }
    char made[ES_OFFICE_PREFIX_SIZE];
    make_prefix(asked, made);
    if (strcmp(asked, made) != 0)
        return es_fail(
            err, ES_USAGE,
            "--prefix takes up to %d letters and digits, with single hyphens between, not \"%.40s\"",
            ES_OFFICE_PREFIX_SIZE - 1, asked);
    memcpy(o->prefix, made, sizeof made);
    return ES_OK;
}

enum es_status es_office_open(const struct es_office_options *options, struct es_office **out,
                              struct es_error *err)
{
    struct es_office *o = calloc(1, sizeof *o);
    if (o == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to open the state folder");
    o->options = *options;
    enum es_status s = take_prefix(o, options->prefix, err);
    if (s == ES_OK)
        s = es_store_open(options->state, ES_STORE_WRITE, &o->store, err);
    if (s != ES_OK) {
        free(o);
        return s;
    }
    (void)pthread_mutex_init(&o->lock, NULL);
    *out = o;
    return ES_OK;
}

void es_office_close(struct es_office *o)
{
    if (o == NULL)
        return;
    es_key_free(o->key);
    es_store_close(o->store);
    (void)pthread_mutex_destroy(&o->lock);
    free(o);
}

void es_office_take_table(struct es_office *o, const struct es_detection *table)
{
    o->table = table;
}

void es_office_enter_books(struct es_office *o)
{
    char now[32];
    struct es_error err;
    es_clock_wall_text(now);
    if (es_store_seal_books(o->store, o->key, now, &err) != ES_OK)
        es_log(o->options.log, ES_LOG_ERROR, "the log of the books: %s", err.text);
}

void es_office_enter(struct es_office *o, const char *number)
{
    char now[32];
    struct es_error err;
    es_clock_wall_text(now);
    if (es_store_seal(o->store, o->key, number, now, &err) != ES_OK)
        es_log(o->options.log, ES_LOG_ERROR, "the log of certificates: %s", err.text);
}

enum es_status es_office_check_key(struct es_office *o, struct es_error *err)
{
    char now[32];
    struct es_error why;
    es_clock_wall_text(now);
    enum es_status s = es_store_key_check(o->store, es_key_public(o->key), ES_ROLE_OF_BENCH, now, &why);
    if (s == ES_NOT_FOUND) /* told when it was taken */
        return ES_OK;
    return s == ES_OK ? s : es_fail(err, s, "no certificate can be issued: %s", why.text);
}

static enum es_status check_new_key(struct es_office *o, struct es_error *err)
{
    struct es_store_trust book = {0};
    const char *thumbprint = es_key_public(o->key)->thumbprint;
    enum es_status s = es_office_check_key(o, err);
    if (s == ES_OK)
        s = es_store_trust(o->store, &book, err);
    bool known = false;
    for (size_t i = 0; i < book.count; i++)
        known = known || strcmp(book.items[i].key.thumbprint, thumbprint) == 0;
    if (s == ES_OK && !known)
        es_log(o->options.log, ES_LOG_WARNING,
               "key %s does not stand in the bench's book of keys: what it signs is not trusted here "
               "(endstop key trust)",
               thumbprint);
    es_store_trust_free(&book);
    return s;
}

enum es_status es_office_take_key(struct es_office *o, struct es_error *err)
{
    const char *file = o->options.passphrase_file;
    const struct es_passphrase from_file = es_passphrase_of_file(file);
    const struct es_passphrase *passphrase = file != NULL ? &from_file : NULL;
    enum es_status s = o->options.key != NULL ? es_key_load_with(o->options.key, passphrase, &o->key, err)
                                              : es_store_key_load_with(o->store, passphrase, &o->key, err);
    if (s == ES_NOT_FOUND && o->options.key == NULL)
        return es_fail(err, s, "this bench has no signing key yet; make one: endstop key create --state %s",
                       es_store_folder(o->store));
    if (s == ES_OK)
        s = check_new_key(o, err);
    if (s != ES_OK)
        return s;
    es_office_enter(o, NULL);
    es_office_enter_books(o);
    return ES_OK;
}

enum es_status es_office_seal(struct es_office *o, const char *number, struct es_error *err)
{
    char now[32];
    es_clock_wall_text(now);
    pthread_mutex_lock(&o->lock);
    enum es_status s = es_office_check_key(o, err);
    if (s == ES_OK)
        s = es_store_seal(o->store, o->key, number, now, err);
    if (s == ES_OK)
        es_office_enter_books(o);
    pthread_mutex_unlock(&o->lock);
    return s;
}

void es_office_give_up(struct es_office *o, const char *run, const char *why)
{
    char now[32];
    es_clock_wall_text(now);
    struct es_error err;
    pthread_mutex_lock(&o->lock);
    enum es_status s = es_store_run_end(o->store, run, now, NULL, why, &err);
    pthread_mutex_unlock(&o->lock);
    if (s != ES_OK)
        es_log(o->options.log, ES_LOG_ERROR,
               "the end of run %s could not be written (%s); the next start lists it as interrupted", run,
               err.text);
}

enum es_status es_office_begin(struct es_office *o, const struct es_store_run *run, char **journals,
                               char **recordings, struct es_error *err)
{
    struct es_text path = {0};
    es_text_printf(&path, "%s/recordings", es_store_folder(o->store));
    char *recordings_path = NULL;
    enum es_status s = es_text_take(&path, &recordings_path, err);
    if (s != ES_OK)
        goto free_path;
    pthread_mutex_lock(&o->lock);
    s = es_office_check_key(o, err);
    if (s == ES_OK)
        s = es_store_run_begin(o->store, run, err);
    if (s == ES_OK)
        s = es_store_run_folder(o->store, run->run, journals, err);
    pthread_mutex_unlock(&o->lock);
    if (s == ES_OK) {
        *recordings = recordings_path;
        recordings_path = NULL;
    }
free_path:
    free(recordings_path);
    es_text_free(&path);
    return s;
}
