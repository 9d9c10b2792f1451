/* Books of lines: files of one JSON object a line that only grow, each line with who and when. The file is
 * written anew and put in place at once (rig/base/file.h), so that after a crash it holds all lines or all
 * but the last. A lock beside it keeps two programs from writing at the same time. */
#ifndef ES_STORE_LINES_H
#define ES_STORE_LINES_H

#include <sys/types.h>

#include "rig/base/document.h"
#include "rig/base/file.h"

struct es_lines {
    struct es_document **items; /* each an object */
    size_t count;
};

/* All lines of a file; a missing one has none (ES_OK). ES_BAD_INPUT: a line is no JSON object, and which. */
enum es_status es_lines_read(const struct es_file_ops *ops, const char *path, struct es_lines *out,
                             struct es_error *err) ES_MUST_CHECK;
void es_lines_free(struct es_lines *lines);

const cJSON *es_lines_at(const struct es_lines *lines, size_t index);

struct es_lines_lock {
    int fd; /* -1: not held */
};

/* Waits until nobody else writes. `path`: of the lock, made when missing. */
enum es_status es_lines_lock(const char *path, mode_t mode, struct es_lines_lock *out,
                             struct es_error *err) ES_MUST_CHECK;
void es_lines_unlock(struct es_lines_lock *lock);

/* Puts `text` (one or more whole lines, each ended by a line feed) behind those that are there, durably. The
 * caller holds the lock. A file that cannot be read as lines is not touched: ES_BAD_INPUT. */
enum es_status es_lines_append(const struct es_file_ops *ops, const char *path, mode_t mode, const char *text,
                               struct es_error *err) ES_MUST_CHECK;

#endif
