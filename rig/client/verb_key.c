#include <stdlib.h>
#include <string.h>

#include "results/store/store.h"
#include "rig/base/file.h"
#include "rig/client/verb.h"
#include "rig/console/json_writer.h"

struct arguments {
    struct es_option_list what;
    const char *state, *key;
    bool jwk, pem, json;
};

#define FLAG(n, member, text)                                                                                \
    {                                                                                                        \
        .name = (n), .kind = ES_OPTION_FLAG, .offset = offsetof(struct arguments, member), .meaning = (text) \
    }

static const struct es_option options[] = {
    {.name = "state",
     .value = "DIR",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, state),
     .meaning = "the daemon's state folder: the key is DIR/keys/bench.pem"},
    {.name = "key",
     .value = "FILE",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, key),
     .meaning = "the private key's file; for show also a public key (PEM or JWK)"},
    FLAG("jwk", jwk, "show: print the public key as JWK only"),
    FLAG("pem", pem, "show: print the public key as PEM only"),
    FLAG("json", json, "print for programs"),
};

static const struct es_command_line line = {
    .program = "endstop key",
    .summary = "makes a signing key, or shows a key's public half",
    .detail =
        "create makes a fresh Ed25519 key: FILE (private, readable by its owner only) and beside it FILE's "
        "public half as .pub.pem and .pub.jwk. Give the public half to those who check certificates, by a "
        "way "
        "that they trust. An existing key is never overwritten.",
    .example = "endstop key create --state /var/lib/endstop",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "create|show",
                 .min = 1,
                 .max = 1,
                 .offset = offsetof(struct arguments, what),
                 .meaning = "what to do"},
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

static void show(const struct arguments *a, const struct es_public_key *key, const char *path)
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

static enum es_status create_at(const struct arguments *a, const char *path, struct es_error *err)
{
    struct es_key *key = NULL;
    enum es_status s = es_key_create(&key, err);
    if (s == ES_OK)
        s = es_key_save(key, path, err);
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
        show(a, es_key_public(key), path);
free_key:
    es_key_free(key);
    return s;
}

static enum es_status create_in_state(const struct arguments *a, const char *path, struct es_error *err)
{
    struct es_store *store = NULL;
    struct es_public_key made;
    enum es_status s = es_store_open(a->state, ES_STORE_WRITE, &store, err);
    if (s == ES_OK)
        s = es_store_key_create(store, &made, err);
    es_store_close(store);
    if (s == ES_OK)
        show(a, &made, path);
    return s;
}

static enum es_status show_file(const struct arguments *a, const char *path, struct es_error *err)
{
    struct es_public_key public_key;
    if (es_public_key_load(path, &public_key, NULL) == ES_OK) {
        show(a, &public_key, path);
        return ES_OK;
    }
    struct es_key *key = NULL;
    enum es_status s = es_key_load(path, &key, err);
    if (s == ES_OK)
        show(a, es_key_public(key), path);
    es_key_free(key);
    return s;
}

static enum es_status key_path(const struct arguments *a, char **out, struct es_error *err)
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

static enum es_status act(const struct arguments *a, bool make, const char *path, struct es_error *err)
{
    if (!make)
        return show_file(a, path, err);
    return a->state != NULL ? create_in_state(a, path, err) : create_at(a, path, err);
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_key, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    const char *what = a.what.items[0];
    bool make = strcmp(what, "create") == 0;
    if (!make && strcmp(what, "show") != 0) {
        es_fail(&err, ES_USAGE, "\"%s\" is neither create nor show", what);
        return es_verb_fail(&es_verb_key, &err, NULL);
    }
    char *path = NULL;
    enum es_status s = key_path(&a, &path, &err);
    if (s == ES_OK)
        s = act(&a, make, path, &err);
    free(path);
    return s == ES_OK ? es_verb_end(&es_verb_key, 0) : es_verb_fail(&es_verb_key, &err, NULL);
}

const struct es_verb es_verb_key = {.line = &line, .name = "key", .run = run};
