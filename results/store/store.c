#include "results/store/store.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "results/store/inner.h"
#include "rig/base/digest.h"

/* ---- Paths and names ---- */

char *es_store_path(const struct es_store *store, const char *part, const char *name, struct es_error *err)
{
    char *path = NULL;
    int n = name ? asprintf(&path, "%s/%s/%s", store->folder, part, name)
                 : asprintf(&path, "%s/%s", store->folder, part);
    if (n < 0) {
        (void)es_fail(err, ES_NO_MEMORY, "no memory for a path in %s", store->folder);
        return NULL;
    }
    return path;
}

bool es_store_is_name(const char *text, size_t most)
{
    static const char good[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.";
    size_t n = strlen(text);
    return n > 0 && n <= most && text[0] != '.' && strspn(text, good) == n;
}

void es_names_free(struct es_names *names)
{
    for (size_t i = 0; i < names->count; i++) {
        free(names->items[i]);
    }
    free(names->items);
    *names = (struct es_names){0};
}

static int by_name(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static bool add_name(struct es_names *names, size_t *capacity, const char *name)
{
    if (names->count == *capacity) {
        size_t more = *capacity ? *capacity * 2 : 64;
        char **items = reallocarray(names->items, more, sizeof *items);
        if (!items) {
            return false;
        }
        names->items = items;
        *capacity = more;
    }
    names->items[names->count] = strdup(name);
    return names->items[names->count] ? (names->count++, true) : false;
}

/* Names of a folder, those with a leading dot or the others. */
static enum es_status read_names(const char *path, bool hidden, struct es_names *out, struct es_error *err)
{
    struct es_names names = {0};
    size_t capacity = 0;
    DIR *dir = opendir(path);
    if (!dir) {
        if (errno == ENOENT) {
            *out = names;
            return ES_OK;
        }
        return es_fail_errno(err, errno, "%s: the folder cannot be read", path);
    }
    enum es_status st = ES_OK;
    for (;;) {
        errno = 0;
        const struct dirent *entry = readdir(dir); /* own stream: safe with threads */
        if (!entry) {
            st = errno ? es_fail_errno(err, errno, "%s: the folder cannot be read", path) : ES_OK;
            break;
        }
        bool dots = strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0;
        if (!dots && (entry->d_name[0] == '.') == hidden && !add_name(&names, &capacity, entry->d_name)) {
            st = es_fail(err, ES_NO_MEMORY, "no memory to list %s", path);
            break;
        }
    }
    (void)closedir(dir);
    if (st != ES_OK) {
        es_names_free(&names);
        return st;
    }
    if (names.count > 1) {
        qsort(names.items, names.count, sizeof *names.items, by_name);
    }
    *out = names;
    return ES_OK;
}

enum es_status es_store_names(const struct es_store *store, const char *part, struct es_names *out,
                              struct es_error *err)
{
    char *path = es_store_path(store, part, NULL, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    enum es_status st = read_names(path, false, out, err);
    free(path);
    return st;
}

char *es_store_member(const cJSON *object, const char *name)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    return strdup(text ? text : "");
}

/* ---- Opening ---- */

enum es_status es_store_may_write(const struct es_store *store, struct es_error *err)
{
    return store->mode == ES_STORE_WRITE
               ? ES_OK
               : es_fail(err, ES_DISABLED, "%s: was opened for reading only", store->folder);
}

static const struct {
    const char *name;
    mode_t mode;
} parts[] = {{"certificates", 0750}, {"runs", 0750}, {"recordings", 0750},
             {"log", 0750},          {"keys", 0700}, {"keys/trusted", 0700}};

#define PART_COUNT (sizeof parts / sizeof parts[0])

static enum es_status make_folders(const struct es_store *store, struct es_error *err)
{
    enum es_status st = es_folder_make(store->ops, store->folder, 0750, err);
    for (size_t i = 0; i < PART_COUNT && st == ES_OK; i++) {
        char *path = es_store_path(store, parts[i].name, NULL, err);
        st = path ? es_folder_make(store->ops, path, parts[i].mode, err) : ES_NO_MEMORY;
        free(path);
    }
    return st;
}

static enum es_status take_lock(struct es_store *store, struct es_error *err)
{
    char *path = es_store_path(store, "lock", NULL, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    enum es_status st = ES_OK;
    store->lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0640);
    if (store->lock < 0) {
        st = es_fail_errno(err, errno, "%s: cannot be opened", path);
    } else if (flock(store->lock, LOCK_EX | LOCK_NB) != 0) {
        st =
            errno == EWOULDBLOCK
                ? es_fail(err, ES_REFUSED, "%s: another program writes to this folder already", store->folder)
                : es_fail_errno(err, errno, "%s: cannot be locked", path);
    }
    free(path);
    return st;
}

/* Temporary files that a crash left have hidden names. Only the holder of the lock may sweep; what cannot be
 * removed does no harm, since nothing reads hidden names. */
static void sweep(const struct es_store *store, const char *part)
{
    char *path = es_store_path(store, part, NULL, NULL);
    struct es_names names = {0};
    if (path && read_names(path, true, &names, NULL) == ES_OK) {
        for (size_t i = 0; i < names.count; i++) {
            char *file = es_store_path(store, part, names.items[i], NULL);
            if (file) {
                (void)unlink(file);
            }
            free(file);
        }
    }
    es_names_free(&names);
    free(path);
}

enum es_status es_store_open_with(const struct es_file_ops *ops, const char *folder, enum es_store_mode mode,
                                  struct es_store **out, struct es_error *err)
{
    struct es_store *store = calloc(1, sizeof *store);
    enum es_status st = ES_OK;
    if (store) {
        *store = (struct es_store){.ops = ops, .folder = strdup(folder), .mode = mode, .lock = -1};
    }
    if (!store || !store->folder) {
        st = es_fail(err, ES_NO_MEMORY, "no memory to open %s", folder);
    } else if (mode == ES_STORE_WRITE) {
        st = make_folders(store, err);
        if (st == ES_OK) {
            st = take_lock(store, err);
        }
        for (size_t i = 0; i < PART_COUNT && st == ES_OK; i++) {
            sweep(store, parts[i].name);
        }
    } else if (access(folder, R_OK | X_OK) != 0) {
        st = errno == ENOENT ? es_fail(err, ES_NOT_FOUND, "%s: there is no such folder", folder)
                             : es_fail_errno(err, errno, "%s: cannot be read", folder);
    }
    if (st != ES_OK) {
        es_store_close(store);
        return st;
    }
    *out = store;
    return ES_OK;
}

enum es_status es_store_open(const char *folder, enum es_store_mode mode, struct es_store **out,
                             struct es_error *err)
{
    return es_store_open_with(NULL, folder, mode, out, err);
}

void es_store_close(struct es_store *store)
{
    if (!store) {
        return;
    }
    if (store->lock >= 0) {
        (void)close(store->lock); /* gives the lock back */
    }
    es_log_close(store->log);
    es_log_close(store->books);
    free(store->prefix);
    free(store->folder);
    free(store);
}

const char *es_store_folder(const struct es_store *store)
{
    return store->folder;
}

/* ---- Recordings ---- */

enum es_status es_store_recording(struct es_store *store, const void *bytes, size_t length,
                                  char digest[static 65], struct es_error *err)
{
    enum es_status st = es_store_may_write(store, err);
    if (st != ES_OK) {
        return st;
    }
    char name[65];
    es_digest_hex(bytes, length, name);
    char *path = es_store_path(store, "recordings", name, err);
    if (!path) {
        return ES_NO_MEMORY;
    }
    /* Replaced even when it is there: it may be what an earlier failure left without being durable. */
    st = es_file_write(store->ops, path, ES_FILE_REPLACE, 0640, bytes, length, err);
    if (st == ES_OK) {
        memcpy(digest, name, sizeof name);
    }
    free(path);
    return st;
}

enum es_status es_store_recording_path(struct es_store *store, const char *digest, char **path,
                                       struct es_error *err)
{
    if (strlen(digest) != 64 || strspn(digest, "0123456789abcdef") != 64) {
        return es_fail(err, ES_BAD_INPUT, "\"%.80s\" is not a SHA-256 digest in small hex digits", digest);
    }
    char *made = es_store_path(store, "recordings", digest, err);
    if (!made) {
        return ES_NO_MEMORY;
    }
    if (access(made, R_OK) != 0) {
        enum es_status st = errno == ENOENT
                                ? es_fail(err, ES_NOT_FOUND, "%s: there is no such recording", made)
                                : es_fail_errno(err, errno, "%s: cannot be read", made);
        free(made);
        return st;
    }
    *path = made;
    return ES_OK;
}
