/* Any bytes as the book of keys, a job, the book of repairs, and the list of keys that others are given. The
 * store reads them through file calls that hold them in memory. What is taken says all that its readers rely
 * on; a list of keys that is taken can be written and reads back the same. */
#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/store/jobs.h"
#include "results/store/key_register.h"
#include "results/store/repairs.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static struct {
    const uint8_t *bytes;
    size_t size, at;
} file;

static int m_open(void *self, const char *path, int flags, mode_t mode)
{
    (void)self;
    (void)path;
    (void)flags;
    (void)mode;
    file.at = 0;
    return 1000;
}
static ssize_t m_read(void *self, int fd, void *bytes, size_t size)
{
    (void)self;
    (void)fd;
    size_t n = file.size - file.at < size ? file.size - file.at : size;
    memcpy(bytes, file.bytes + file.at, n);
    file.at += n;
    return (ssize_t)n;
}
static off_t m_size(void *self, int fd)
{
    (void)self;
    (void)fd;
    return (off_t)file.size;
}
static int m_close(void *self, int fd)
{
    (void)self;
    (void)fd;
    return 0;
}

static const struct es_file_ops in_memory = {
    .open = m_open, .read = m_read, .size = m_size, .close = m_close};

static void demand(int holds, const char *what)
{
    if (!holds) {
        (void)fprintf(stderr, "does not hold: %s\n", what);
        abort();
    }
}

static void check_keys(const struct es_store_trust *keys)
{
    for (size_t i = 0; i < keys->count; i++) {
        char why[ES_DOUBT_MAX];
        demand(strlen(keys->items[i].key.thumbprint) == 43, "a key has its thumbprint");
        (void)es_trusted_key_counts(&keys->items[i], "bench", "2026-02-03T10:00:00Z", why);
    }
}

static void try_list(const char *text, size_t length, int again)
{
    struct es_store_trust keys = {0};
    struct es_error err = {0};
    if (es_key_list_parse("fuzz", text, length, &keys, &err) != ES_OK) {
        demand(err.text[0], "a refusal says why");
        return;
    }
    char *written = NULL;
    check_keys(&keys);
    demand(es_key_list_write(&keys, &written, &err) == ES_OK, "it can be written");
    if (again) {
        struct es_store_trust back = {0};
        demand(es_key_list_parse("again", written, strlen(written), &back, &err) == ES_OK &&
                   back.count == keys.count,
               "and read back");
        es_store_trust_free(&back);
        try_list(written, strlen(written), 0);
    }
    free(written);
    es_store_trust_free(&keys);
}

static void try_job(struct es_store *store)
{
    struct es_job job = {0};
    struct es_error err = {0};
    if (es_job_read(store, "J-000001", &job, &err) == ES_OK) {
        demand(job.lines.count > 0 && job.stage && job.opened && job.opened_by, "a job says its stage");
        demand(job.unit.serial && job.unit.received, "a job says its unit and when it came");
        demand(!job.as_found || strlen(job.as_found) < 1u << 20, "texts end");
        es_job_free(&job);
    } else {
        demand(err.text[0], "a refusal says why");
    }
}

static void try_books(struct es_store *store)
{
    struct es_store_trust keys = {0};
    struct es_repairs repairs = {0};
    if (es_key_register_read(store, &keys, NULL) == ES_OK) {
        check_keys(&keys);
        es_store_trust_free(&keys);
    }
    if (es_repairs_read(store, &repairs, NULL) == ES_OK) {
        for (size_t i = 0; i < repairs.count; i++) {
            demand(repairs.items[i].number && repairs.items[i].found && repairs.items[i].person,
                   "a repair says whose and what");
        }
        es_repairs_free(&repairs);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_store *store = NULL;
    char *text = malloc(size + 1); /* a reader may want the NUL that es_file_read puts there */
    if (!text) {
        return 0;
    }
    if (size) {
        memcpy(text, data, size);
    }
    text[size] = 0;
    try_list(text, size, 1);
    free(text);
    file.bytes = data;
    file.size = size;
    demand(es_store_open_with(&in_memory, "/", ES_STORE_READ, &store, NULL) == ES_OK, "the store opens");
    try_job(store);
    try_books(store);
    es_store_close(store);
    return 0;
}
