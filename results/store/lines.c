#include "results/store/lines.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "rig/base/text.h"

#define FILE_LIMIT (16u << 20)

void es_lines_free(struct es_lines *lines)
{
    for (size_t i = 0; i < lines->count; i++) {
        es_document_free(lines->items[i]);
    }
    free(lines->items);
    *lines = (struct es_lines){0};
}

const cJSON *es_lines_at(const struct es_lines *lines, size_t index)
{
    return es_document_root(lines->items[index]);
}

static enum es_status read_line(const char *path, size_t number, const char *text, size_t length,
                                struct es_document **out, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_document *doc = NULL;
    enum es_status st = es_document_parse(path, text, length, &findings, &doc, err);
    if (st == ES_BAD_INPUT) {
        st = es_findings_status(&findings, err);
    }
    if (st == ES_OK && !cJSON_IsObject(es_document_root(doc))) {
        st = es_fail(err, ES_BAD_INPUT, "expected a JSON object");
        es_document_free(doc);
    }
    es_findings_free(&findings);
    if (st != ES_OK) {
        return es_error_context(err, st, "%s: line %zu was changed or damaged", path, number);
    }
    *out = doc;
    return ES_OK;
}

static enum es_status split(const char *path, const char *bytes, size_t length, struct es_lines *out,
                            struct es_error *err)
{
    struct es_lines lines = {0};
    size_t most = 0;
    for (size_t i = 0; i < length; i++) {
        most += bytes[i] == '\n';
    }
    if (length > 0 && bytes[length - 1] != '\n') {
        return es_fail(err, ES_BAD_INPUT, "%s: the last line is not whole: the file was cut", path);
    }
    lines.items = calloc(most + 1, sizeof *lines.items);
    if (!lines.items) {
        return es_fail(err, ES_NO_MEMORY, "no memory to read %s", path);
    }
    enum es_status st = ES_OK;
    for (const char *p = bytes; p < bytes + length && st == ES_OK;) {
        const char *end = memchr(p, '\n', (size_t)(bytes + length - p));
        st = read_line(path, lines.count + 1, p, (size_t)(end - p), &lines.items[lines.count], err);
        lines.count += st == ES_OK;
        p = end + 1;
    }
    if (st != ES_OK) {
        es_lines_free(&lines);
        return st;
    }
    *out = lines;
    return ES_OK;
}

enum es_status es_lines_read(const struct es_file_ops *ops, const char *path, struct es_lines *out,
                             struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    enum es_status st = es_file_read(ops, path, FILE_LIMIT, &bytes, &length, err);
    if (st == ES_NOT_FOUND) {
        *out = (struct es_lines){0};
        return ES_OK;
    }
    if (st == ES_OK) {
        st = split(path, bytes, length, out, err);
    }
    free(bytes);
    return st;
}

enum es_status es_lines_lock(const char *path, mode_t mode, struct es_lines_lock *out, struct es_error *err)
{
    int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, mode);
    if (fd < 0) {
        return es_fail_errno(err, errno, "%s: cannot be opened", path);
    }
    while (flock(fd, LOCK_EX) != 0) {
        if (errno != EINTR) {
            int why = errno;
            (void)close(fd);
            return es_fail_errno(err, why, "%s: cannot be locked", path);
        }
    }
    out->fd = fd;
    return ES_OK;
}

void es_lines_unlock(struct es_lines_lock *lock)
{
    if (lock->fd >= 0) {
        (void)close(lock->fd); /* gives the lock back */
    }
    lock->fd = -1;
}

enum es_status es_lines_append(const struct es_file_ops *ops, const char *path, mode_t mode, const char *text,
                               struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    struct es_lines lines = {0};
    struct es_text whole = {0};
    enum es_status st = es_file_read(ops, path, FILE_LIMIT, &bytes, &length, err);
    if (st == ES_NOT_FOUND) {
        st = ES_OK;
    } else if (st == ES_OK) {
        st = split(path, bytes, length, &lines, err);
    }
    if (st == ES_OK) {
        es_text_append(&whole, bytes ? bytes : "", length);
        es_text_add(&whole, text);
        st = es_text_status(&whole, err);
    }
    if (st == ES_OK) {
        st = es_file_write(ops, path, ES_FILE_REPLACE, mode, whole.bytes, whole.length, err);
    }
    es_text_free(&whole);
    es_lines_free(&lines);
    free(bytes);
    return st;
}
