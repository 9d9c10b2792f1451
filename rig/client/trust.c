#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/text.h"
#include "rig/client/trust.h"

static enum es_status add(struct es_trust *trust, const char *path, struct es_error *err)
{
    if (trust->count == ES_TRUST_MAX)
        return es_fail(err, ES_RANGE, "more than %d trusted keys are given", ES_TRUST_MAX);
    struct es_trusted_key *key = &trust->keys[trust->count];
    memset(key, 0, sizeof *key);
    enum es_status s = es_public_key_load(path, &key->key, err);
    if (s != ES_OK)
        return s;
    for (size_t i = 0; i < trust->count; i++)
        if (strcmp(trust->keys[i].key.thumbprint, key->key.thumbprint) == 0)
            return ES_OK; /* the same key in two files */
    const char *slash = strrchr(path, '/');
    trust->names[trust->count] = strdup(slash != NULL ? slash + 1 : path);
    if (trust->names[trust->count] == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory for the trusted keys");
    key->name = trust->names[trust->count];
    trust->count++;
    return ES_OK;
}

static enum es_status add_folder(struct es_trust *trust, const char *folder, struct es_error *err)
{
    DIR *dir = opendir(folder);
    if (dir == NULL)
        return errno == ENOENT ? ES_OK : es_fail_errno(err, errno, "%s cannot be read", folder);
    enum es_status s = ES_OK;
    const struct dirent *entry;
    while (s == ES_OK && (entry = readdir(dir)) != NULL) {
        if (entry->d_name[0] == '.')
            continue;
        struct es_text path = {0};
        es_text_printf(&path, "%s/%s", folder, entry->d_name);
        s = es_text_status(&path, err);
        if (s == ES_OK)
            s = add(trust, path.bytes, err);
        es_text_free(&path);
    }
    closedir(dir);
    return s;
}

enum es_status es_trust_load(const struct es_option_list *files, const char *state, struct es_trust *trust,
                             struct es_error *err)
{
    enum es_status s = ES_OK;
    for (size_t i = 0; s == ES_OK && i < files->count; i++)
        s = add(trust, files->items[i], err);
    if (s != ES_OK || state == NULL)
        return s;
    struct es_text path = {0};
    es_text_printf(&path, "%s/keys/bench.pub.pem", state);
    s = es_text_status(&path, err);
    if (s == ES_OK && access(path.bytes, F_OK) == 0)
        s = add(trust, path.bytes, err);
    es_text_reset(&path);
    es_text_printf(&path, "%s/keys/trusted", state);
    if (s == ES_OK)
        s = es_text_status(&path, err);
    if (s == ES_OK)
        s = add_folder(trust, path.bytes, err);
    es_text_free(&path);
    return s;
}

void es_trust_clear(struct es_trust *trust)
{
    for (size_t i = 0; i < trust->count; i++)
        free(trust->names[i]);
    trust->count = 0;
}
