#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/clock.h"
#include "rig/client/key_book.h"
#include "rig/client/passphrase.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"

#define FLAG(n, member, text)       ES_FLAG_OPTION(struct es_key_arguments, n, member, text)
#define TEXT(n, word, member, text) ES_TEXT_OPTION(struct es_key_arguments, n, word, member, text)

static const struct es_option options[] = {
    TEXT("state", "DIR", state, "the daemon's state folder: the key is DIR/keys/bench.pem"),
    TEXT("key", "FILE", key, "the private key's file; for show also a public key (PEM or JWK)"),
    FLAG("passphrase", sealed, "create, rotate: put the new key under a passphrase, asked at the terminal"),
    TEXT("passphrase-file", "FILE", passphrase_file,
         "take the passphrase from the first line of FILE, which only its owner may read"),
    TEXT("new-passphrase-file", "FILE", new_passphrase_file,
         "passphrase: take the new one from FILE; an empty one takes the passphrase off"),
    TEXT("name", "NAME", name, "trust: whose key it is"),
    TEXT("as", "ROLES", roles, "trust: what for: \"bench\", or \"release void\" (the usual one)"),
    TEXT("from", "TIME", from, "trust, revoke: from when on (UTC, \"2026-02-03T10:11:12Z\"); else now"),
    TEXT("reason", "TEXT", reason, "revoke: why; everyone who checks is told"),
    TEXT("person", "NAME", person, "who does it; else your system user"),
    FLAG("jwk", jwk, "show: print the public key as JWK only"),
    FLAG("pem", pem, "show: print the public key as PEM only"),
    FLAG("json", json, "print for programs; list: the list that \"endstop verify --keys\" takes"),
};

static const struct es_command_line line = {
    .program = "endstop key",
    .summary = "makes, replaces, revokes and lists signing keys",
    .detail =
        "create makes a fresh Ed25519 key: FILE (private, readable by its owner only) and beside it FILE's "
        "public half as .pub.pem and .pub.jwk. Give the public half to those who check certificates, by a "
        "way "
        "that they trust. An existing key is never overwritten. rotate makes a new key for the bench in the "
        "old one's place; what the old one signed stays checkable. trust takes another's public key into the "
        "bench's book of keys (FILE), revoke takes one out of force (FILE or thumbprint), list shows the "
        "book. "
        "passphrase puts a key under a passphrase, or under another one.",
    .example = "endstop key revoke kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k --state /var/lib/endstop "
               "--reason \"laptop lost\"",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "create|show|list|rotate|trust|revoke|passphrase [KEY]",
                 .min = 1,
                 .max = 2,
                 .offset = offsetof(struct es_key_arguments, what),
                 .meaning = "what to do; trust takes a file, revoke a file or a thumbprint"},
};

/* "keys/bench.pem" -> "keys/bench.pub.pem" */
static enum es_status public_path(const char *path, const char *ending, char **out, struct es_error *err)
{
    size_t length = strlen(path);
    if (length > 4 && strcmp(path + length - 4, ".pem") == 0)
        length -= 4;
    struct es_text text = {0};
    es_text_printf(&text, "%.*s.pub.%s", (int)length, path, ending);
    enum es_status s = es_text_take(&text, out, err);
    es_text_free(&text);
    return s;
}

static enum es_status write_public(const char *path, const char *ending, const char *text,
                                   struct es_error *err)
{
    char *file = NULL;
    enum es_status s = public_path(path, ending, &file, err);
    if (s == ES_OK)
        s = es_file_write(NULL, file, ES_FILE_REPLACE, 0644, text, strlen(text), err);
    free(file);
    return s;
}

void es_key_show(const struct es_key_arguments *a, const struct es_public_key *key, const char *path)
{
    char jwk[ES_PUBLIC_KEY_TEXT_MAX], pem[ES_PUBLIC_KEY_TEXT_MAX];
    es_public_key_jwk(key, jwk);
    es_public_key_pem(key, pem);
    if (a->json) {
        struct es_text out = {0};
        es_json_object(&out, NULL);
        es_json_text(&out, "file", path);
        es_json_text(&out, "thumbprint", key->thumbprint);
        es_json_raw(&out, "jwk", jwk, strlen(jwk));
        es_json_text(&out, "pem", pem);
        es_json_end_object(&out);
        printf("%s\n", out.bytes != NULL ? out.bytes : "");
        es_text_free(&out);
    } else if (a->jwk) {
        printf("%s\n", jwk);
    } else if (a->pem) {
        fputs(pem, stdout);
    } else {
        printf("Key        %s\nThumbprint %s\n\n%s\n%s", path, key->thumbprint, pem, jwk);
        putchar('\n');
    }
}

static struct es_passphrase_source new_source(const struct es_key_arguments *a)
{
    return (struct es_passphrase_source){.file = a->new_passphrase_file != NULL ? a->new_passphrase_file
                                                                                : a->passphrase_file,
                                         .twice = true,
                                         .label = "new passphrase of"};
}

static enum es_status create_at(const struct es_key_arguments *a, const char *path, struct es_error *err)
{
    struct es_passphrase_source source = new_source(a);
    struct es_passphrase passphrase = es_passphrase_from(&source);
    struct es_key *key = NULL;
    enum es_status s = es_key_create(&key, err);
    if (s == ES_OK)
        s = a->sealed ? es_key_save_sealed(key, path, ES_FILE_NEW, &passphrase, ES_SEAL_USUAL, err)
                      : es_key_save(key, path, err);
    if (s != ES_OK)
        goto free_key;
    char text[ES_PUBLIC_KEY_TEXT_MAX];
    es_public_key_pem(es_key_public(key), text);
    s = write_public(path, "pem", text, err);
    if (s == ES_OK) {
        es_public_key_jwk(es_key_public(key), text);
        s = write_public(path, "jwk", text, err);
    }
    if (s == ES_OK)
        es_key_show(a, es_key_public(key), path);
free_key:
    es_key_free(key);
    return s;
}

/* create and rotate in a state folder. */
static enum es_status make_in_state(const struct es_key_arguments *a, const char *path, bool rotate,
                                    struct es_error *err)
{
    struct es_store *store = NULL;
    struct es_public_key made = {0};
    struct es_passphrase_source fresh = new_source(a);
    struct es_passphrase_source old = {.file = a->passphrase_file};
    struct es_passphrase new_passphrase = es_passphrase_from(&fresh);
    struct es_passphrase old_passphrase = es_passphrase_from(&old);
    const struct es_store_key_order order = {.who = a->person,
                                             .when = a->now,
                                             .passphrase = a->sealed ? &new_passphrase : NULL,
                                             .old_passphrase = &old_passphrase};
    enum es_status s = es_store_open(a->state, ES_STORE_WRITE, &store, err);
    if (s == ES_REFUSED)
        s = es_error_context(err, s, "the daemon must be stopped for this");
    if (s == ES_OK)
        s = (rotate ? es_store_key_rotate : es_store_key_create)(store, &order, &made, err);
    es_store_close(store);
    if (s == ES_OK)
        es_key_show(a, &made, path);
    return s;
}

static enum es_status create(const struct es_key_arguments *a, const char *path, struct es_error *err)
{
    return a->state != NULL ? make_in_state(a, path, false, err) : create_at(a, path, err);
}

/* A key that takes the place of one under a passphrase must not come out without. */
static bool is_sealed(const char *path)
{
    FILE *file = fopen(path, "re");
    int first = file != NULL ? fgetc(file) : EOF;
    if (file != NULL)
        (void)fclose(file);
    return first == '{';
}

static enum es_status rotate(const struct es_key_arguments *a, const char *path, struct es_error *err)
{
    if (a->state == NULL)
        return es_fail(err, ES_USAGE, "rotate replaces a bench's key: name it by --state DIR");
    if (!a->sealed && is_sealed(path))
        return es_fail(
            err, ES_USAGE,
            "the present key is under a passphrase: give --passphrase, so that the new one is too");
    return make_in_state(a, path, true, err);
}

static enum es_status show_file(const struct es_key_arguments *a, const char *path, struct es_error *err)
{
    struct es_public_key public_key;
    struct es_passphrase_source source = {.file = a->passphrase_file};
    struct es_passphrase passphrase = es_passphrase_from(&source);
    if (es_public_key_load(path, &public_key, NULL) == ES_OK) {
        es_key_show(a, &public_key, path);
        return ES_OK;
    }
    struct es_key *key = NULL;
    enum es_status s = es_key_load_with(path, &passphrase, &key, err);
    if (s == ES_OK)
        es_key_show(a, es_key_public(key), path);
    es_key_free(key);
    return s;
}

/* True when the file's first line is empty: the passphrase is to be taken off. */
static bool is_empty(const char *file)
{
    char *bytes = NULL;
    size_t length = 0;
    bool empty = es_file_read(NULL, file, ES_PASSPHRASE_MAX + 1, &bytes, &length, NULL) == ES_OK &&
                 (length == 0 || bytes[0] == '\n');
    free(bytes);
    return empty;
}

static enum es_status change_passphrase(const struct es_key_arguments *a, const char *path,
                                        struct es_error *err)
{
    struct es_passphrase_source old = {.file = a->passphrase_file, .label = "present passphrase of"};
    struct es_passphrase_source fresh = {
        .file = a->new_passphrase_file, .twice = true, .label = "new passphrase of"};
    struct es_passphrase old_passphrase = es_passphrase_from(&old);
    struct es_passphrase new_passphrase = es_passphrase_from(&fresh);
    struct es_key *key = NULL;
    enum es_status s = es_key_load_with(path, &old_passphrase, &key, err);
    if (s == ES_OK)
        s = fresh.file != NULL && is_empty(fresh.file)
                ? es_key_replace(key, path, err)
                : es_key_save_sealed(key, path, ES_FILE_REPLACE, &new_passphrase, ES_SEAL_USUAL, err);
    if (s == ES_OK)
        es_key_show(a, es_key_public(key), path);
    es_key_free(key);
    return s;
}

static enum es_status key_path(const struct es_key_arguments *a, char **out, struct es_error *err)
{
    if ((a->state != NULL) == (a->key != NULL))
        return es_fail(err, ES_USAGE, "name the key by --state DIR or by --key FILE");
    struct es_text path = {0};
    if (a->state != NULL)
        es_text_printf(&path, "%s/keys/bench.pem", a->state);
    else
        es_text_add(&path, a->key);
    enum es_status s = es_text_take(&path, out, err);
    es_text_free(&path);
    return s;
}

static const struct {
    const char *word;
    enum es_status (*act)(const struct es_key_arguments *a, const char *path, struct es_error *err);
    bool takes_key;
} acts[] = {{"create", create, false},
            {"show", show_file, false},
            {"list", es_key_book_list, false},
            {"rotate", rotate, false},
            {"trust", es_key_book_trust, true},
            {"revoke", es_key_book_revoke, true},
            {"passphrase", change_passphrase, false}};

static enum es_status act(const struct es_key_arguments *a, struct es_error *err)
{
    const char *what = a->what.items[0];
    for (size_t i = 0; i < sizeof acts / sizeof acts[0]; i++) {
        char *path = NULL;
        if (strcmp(what, acts[i].word) != 0)
            continue;
        if (acts[i].takes_key != (a->what.count == 2))
            return es_fail(err, ES_USAGE,
                           acts[i].takes_key ? "%s needs the key: a file%s" : "%s takes no key%s", what,
                           acts[i].takes_key ? ", or for revoke a thumbprint" : "");
        enum es_status s = key_path(a, &path, err);
        if (s == ES_OK)
            s = acts[i].act(a, path, err);
        free(path);
        return s;
    }
    return es_fail(err, ES_USAGE, "\"%s\" is none of create, show, list, rotate, trust, revoke, passphrase",
                   what);
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct es_key_arguments a = {.screen = screen};
    int status;
    if (!es_verb_begin(&es_verb_key, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    char user[64];
    if (a.person == NULL) {
        es_verb_user(user);
        a.person = user;
    }
    es_clock_wall_text(a.now);
    enum es_status s = act(&a, &err);
    return s == ES_OK ? es_verb_end(&es_verb_key, 0) : es_verb_fail(&es_verb_key, &err, NULL);
}

const struct es_verb es_verb_key = {.line = &line, .name = "key", .run = run};
