/* Files: whole reads, durable writes, appending. Every failure is reported; nothing is half written under
 * its final name.
 *
 * `ops` is the seam through which system calls go, so that tests can make any one of them fail; NULL means
 * the system itself. Calls have their POSIX meaning, with -1 and errno on failure. Safe from any thread as
 * long as no two write the same path. */
#ifndef ES_BASE_FILE_H
#define ES_BASE_FILE_H

#include <stddef.h>
#include <sys/types.h>

#include "rig/base/error.h"

struct es_file_ops {
    void *self;
    int (*open)(void *self, const char *path, int flags, mode_t mode);
    ssize_t (*read)(void *self, int fd, void *bytes, size_t size);
    ssize_t (*write)(void *self, int fd, const void *bytes, size_t size);
    int (*sync)(void *self, int fd); /* fsync */
    int (*truncate)(void *self, int fd, off_t size);
    off_t (*size)(void *self, int fd);
    int (*close)(void *self, int fd);
    int (*rename)(void *self, const char *from, const char *to);
    int (*link)(void *self, const char *from, const char *to);
    int (*unlink)(void *self, const char *path);
    int (*mkdir)(void *self, const char *path, mode_t mode);
};

const struct es_file_ops *es_file_system(void); /* the system's own; for tests that wrap it */

/* Reads a whole file of at most `limit` bytes; "-" is standard input. *bytes is NUL-terminated (not counted)
 * and freed by the caller. ES_NOT_FOUND: no such file. ES_REFUSED: permission. ES_RANGE: larger than
 * limit. */
enum es_status es_file_read(const struct es_file_ops *ops, const char *path, size_t limit, char **bytes,
                            size_t *length, struct es_error *err) ES_MUST_CHECK;

enum es_file_write {
    ES_FILE_REPLACE, /* takes the place of what stands there */
    ES_FILE_NEW      /* ES_REFUSED when the path exists: a certificate is never overwritten */
};

/* Writes a file so that after a crash at any moment `path` holds either all of the new bytes or what it held
 * before: a temporary file in the same folder, fsync, rename (or link), fsync of the folder. On ES_OK the
 * bytes and the name are on the disk. On failure the temporary file is removed. `mode` is limited by the
 * process's umask. A symbolic link at `path` is replaced, not followed. ES_USAGE when `path` is or
 * leads to a folder, a device, a pipe or a socket. */
enum es_status es_file_write(const struct es_file_ops *ops, const char *path, enum es_file_write how,
                             mode_t mode, const void *bytes, size_t length,
                             struct es_error *err) ES_MUST_CHECK;

/* Before long work whose result goes to `path`: ES_NOT_FOUND when its folder is not there, ES_IO when that
 * may not be written to, ES_USAGE when `path` is no file. What changes meanwhile shows when it is written. */
enum es_status es_file_may_be_written(const char *path, struct es_error *err) ES_MUST_CHECK;

/* Removes a file durably. ES_NOT_FOUND when there is none. */
enum es_status es_file_remove(const struct es_file_ops *ops, const char *path,
                              struct es_error *err) ES_MUST_CHECK;

/* Makes a folder and those above it that are missing, durably. One that exists is ES_OK. */
enum es_status es_folder_make(const struct es_file_ops *ops, const char *path, mode_t mode,
                              struct es_error *err) ES_MUST_CHECK;

/* A file that only grows: a journal. One thread at a time. */
struct es_appender {
    const struct es_file_ops *ops;
    char *path;
    int fd;
    off_t length; /* of what was appended whole */
    bool broken;  /* a failure left the file in an unknown state; everything later is refused */
};

/* Opens or creates. A new file's name is on the disk when this returns. */
enum es_status es_appender_open(const struct es_file_ops *ops, const char *path, mode_t mode,
                                struct es_appender *out, struct es_error *err) ES_MUST_CHECK;
/* Appends all bytes or none (a half write is cut off again). Not yet durable. */
enum es_status es_appender_write(struct es_appender *a, const void *bytes, size_t length,
                                 struct es_error *err) ES_MUST_CHECK;
/* Makes durable what was appended. After a failed sync the kernel may have dropped it: the appender is
 * broken. */
enum es_status es_appender_sync(struct es_appender *a, struct es_error *err) ES_MUST_CHECK;
/* Closes without sync and frees; reports a close that failed. `a` may have been zeroed only. */
enum es_status es_appender_close(struct es_appender *a, struct es_error *err);

#endif
