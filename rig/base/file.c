#include "rig/base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- The system's own calls ---- */

static int system_open(void *self, const char *path, int flags, mode_t mode)
{
    (void)self;
    return open(path, flags, mode);
}

static ssize_t system_read(void *self, int fd, void *bytes, size_t size)
{
    (void)self;
    return read(fd, bytes, size);
}

static ssize_t system_write(void *self, int fd, const void *bytes, size_t size)
{
    (void)self;
    return write(fd, bytes, size);
}

static int system_sync(void *self, int fd)
{
    (void)self;
    return fsync(fd);
}

static int system_truncate(void *self, int fd, off_t size)
{
    (void)self;
    return ftruncate(fd, size);
}

static off_t system_size(void *self, int fd)
{
    struct stat info;

    (void)self;
    return fstat(fd, &info) == 0 ? info.st_size : -1;
}

static int system_close(void *self, int fd)
{
    (void)self;
    return close(fd);
}

static int system_rename(void *self, const char *from, const char *to)
{
    (void)self;
    return rename(from, to);
}

static int system_link(void *self, const char *from, const char *to)
{
    (void)self;
    return link(from, to);
}

static int system_unlink(void *self, const char *path)
{
    (void)self;
    return unlink(path);
}

static int system_mkdir(void *self, const char *path, mode_t mode)
{
    (void)self;
    return mkdir(path, mode);
}

const struct es_file_ops *es_file_system(void)
{
    static const struct es_file_ops system_ops = {
        .open = system_open,
        .read = system_read,
        .write = system_write,
        .sync = system_sync,
        .truncate = system_truncate,
        .size = system_size,
        .close = system_close,
        .rename = system_rename,
        .link = system_link,
        .unlink = system_unlink,
        .mkdir = system_mkdir,
    };
    return &system_ops;
}

static const struct es_file_ops *given(const struct es_file_ops *ops)
{
    return ops != NULL ? ops : es_file_system();
}

/* ---- Reading ---- */

static enum es_status open_failed(struct es_error *err, const char *path, int errnum)
{
    if (errnum == ENOENT)
        return es_fail(err, ES_NOT_FOUND, "%s: there is no such file", path);
    if (errnum == EACCES)
        return es_fail(err, ES_REFUSED, "%s: permission to open it is missing", path);
    return es_fail_errno(err, errnum, "%s: cannot be opened", path);
}

static enum es_status read_all(const struct es_file_ops *ops, int fd, const char *path, size_t limit,
                               char **out, size_t *length, struct es_error *err)
{
    size_t used = 0, room = 4096;
    char *bytes = malloc(room + 1);

    while (bytes != NULL) {
        ssize_t n = ops->read(ops->self, fd, bytes + used, room - used);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0) {
            int errnum = errno;
            free(bytes);
            if (errnum == EISDIR)
                return es_fail(err, ES_BAD_INPUT, "%s is a folder; a file is expected", path);
            return es_fail_errno(err, errnum, "%s: cannot be read", path);
        }
        used += (size_t)n;
        if (used > limit) {
            free(bytes);
            return es_fail(err, ES_RANGE, "%s: larger than the %zu bytes allowed", path, limit);
        }
        if (n == 0) {
            bytes[used] = '\0';
            *out = bytes;
            *length = used;
            return ES_OK;
        }
        if (used == room) {
            char *larger = realloc(bytes, room * 2 + 1);
            if (larger == NULL)
                free(bytes);
            bytes = larger;
            room *= 2;
        }
    }
    return es_fail(err, ES_NO_MEMORY, "%s: out of memory", path);
}

enum es_status es_file_read(const struct es_file_ops *ops, const char *path, size_t limit, char **bytes,
                            size_t *length, struct es_error *err)
{
    ops = given(ops);
    if (strcmp(path, "-") == 0)
        return read_all(ops, STDIN_FILENO, "standard input", limit, bytes, length, err);

    int fd = ops->open(ops->self, path, O_RDONLY | O_CLOEXEC | O_NOCTTY, 0);
    if (fd < 0)
        return open_failed(err, path, errno);
    enum es_status status = read_all(ops, fd, path, limit, bytes, length, err);
    (void)ops->close(ops->self, fd); /* nothing was written: closing cannot lose anything */
    return status;
}

/* ---- Writing ---- */

static int write_all(const struct es_file_ops *ops, int fd, const void *bytes, size_t length)
{
    const char *p = bytes;

    while (length > 0) {
        ssize_t n = ops->write(ops->self, fd, p, length);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return -1;
        if (n == 0) { /* POSIX allows it nowhere useful; never spin on it */
            errno = EIO;
            return -1;
        }
        p += n;
        length -= (size_t)n;
    }
    return 0;
}

/* The folder of `path`, allocated: "." when it names none. */
static char *folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');

    if (slash == NULL)
        return strdup(".");
    return strndup(path, slash == path ? 1 : (size_t)(slash - path));
}

/* Makes a change of names in the folder of `path` durable. */
static enum es_status sync_folder(const struct es_file_ops *ops, const char *path, struct es_error *err)
{
    enum es_status status = ES_OK;
    char *folder = folder_of(path);

    if (folder == NULL)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", path);
    int fd = ops->open(ops->self, folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC, 0);
    if (fd < 0) {
        status = es_fail_errno(err, errno, "%s: the folder cannot be opened to make it durable", folder);
        goto free_folder;
    }
    if (ops->sync(ops->self, fd) != 0)
        status = es_fail_errno(err, errno, "%s: the folder cannot be made durable", folder);
    (void)ops->close(ops->self, fd);

free_folder:
    free(folder);
    return status;
}

/* FOLDER/.NAME.xxxxxxxxxxxxxxxx, which nobody else has; allocated. */
static enum es_status temporary_name(const char *path, char **out, struct es_error *err)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash == NULL ? path : slash + 1;
    uint64_t random = 0;

    if (getentropy(&random, sizeof random) != 0)
        return es_fail_errno(err, errno, "%s: the system gives no random numbers", path);
    if (asprintf(out, "%.*s.%s.%016" PRIx64, (int)(name - path), path, name, random) < 0)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", path);
    return ES_OK;
}

/* Creates `temporary` with the bytes, durable; leaves nothing behind on failure. */
static enum es_status write_temporary(const struct es_file_ops *ops, const char *temporary, mode_t mode,
                                      const void *bytes, size_t length, struct es_error *err)
{
    enum es_status status = ES_OK;
    int fd = ops->open(ops->self, temporary, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, mode);

    if (fd < 0)
        return open_failed(err, temporary, errno);
    if (write_all(ops, fd, bytes, length) != 0)
        status = es_fail_errno(err, errno, "%s: cannot be written", temporary);
    else if (ops->sync(ops->self, fd) != 0)
        status = es_fail_errno(err, errno, "%s: cannot be made durable", temporary);
    if (ops->close(ops->self, fd) != 0 && status == ES_OK)
        status = es_fail_errno(err, errno, "%s: cannot be closed", temporary);
    if (status != ES_OK)
        (void)ops->unlink(ops->self, temporary); /* the first failure is what counts */
    return status;
}

static enum es_status put_in_place(const struct es_file_ops *ops, const char *temporary, const char *path,
                                   enum es_file_write how, struct es_error *err)
{
    int failed =
        how == ES_FILE_NEW ? ops->link(ops->self, temporary, path) : ops->rename(ops->self, temporary, path);
    int errnum = errno;

    if (failed || how == ES_FILE_NEW)
        (void)ops->unlink(ops->self, temporary); /* a leftover has a hidden name and harms nothing */
    if (failed && errnum == EEXIST)
        return es_fail(err, ES_REFUSED, "%s: exists already and is not overwritten", path);
    if (failed)
        return es_fail_errno(err, errnum, "%s: cannot be put in place", path);
    return sync_folder(ops, path, err);
}

/* A rename would take the place of anything: /dev/null too. */
static enum es_status refuse_what_is_no_file(const char *path, struct es_error *err)
{
    struct stat info;

    if (stat(path, &info) != 0 || S_ISREG(info.st_mode)) /* what else is wrong shows when it is written */
        return ES_OK;
    return es_fail(err, ES_USAGE, "%s: is %s, not a file; nothing was written", path,
                   S_ISDIR(info.st_mode)                            ? "a folder"
                   : S_ISCHR(info.st_mode) || S_ISBLK(info.st_mode) ? "a device"
                                                                    : "a pipe or a socket");
}

enum es_status es_file_may_be_written(const char *path, struct es_error *err)
{
    enum es_status status = refuse_what_is_no_file(path, err);
    if (status != ES_OK)
        return status;
    char *folder = folder_of(path);
    if (folder == NULL)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", path);
    if (access(folder, W_OK | X_OK) != 0)
        status = errno == ENOENT
                     ? es_fail(err, ES_NOT_FOUND, "%s: the folder that it goes into is not there", path)
                     : es_fail_errno(err, errno, "%s: its folder cannot be written to", path);
    free(folder);
    return status;
}

enum es_status es_file_write(const struct es_file_ops *ops, const char *path, enum es_file_write how,
                             mode_t mode, const void *bytes, size_t length, struct es_error *err)
{
    ops = given(ops);
    char *temporary = NULL;
    enum es_status status = refuse_what_is_no_file(path, err);
    if (status == ES_OK)
        status = temporary_name(path, &temporary, err);
    if (status != ES_OK)
        return status;
    status = write_temporary(ops, temporary, mode, bytes, length, err);
    if (status == ES_NOT_FOUND) /* nobody asked for the temporary name */
        status = es_fail(err, status, "%s: the folder that it goes into is not there", path);
    if (status == ES_OK)
        status = put_in_place(ops, temporary, path, how, err);
    free(temporary);
    return status;
}

enum es_status es_file_remove(const struct es_file_ops *ops, const char *path, struct es_error *err)
{
    ops = given(ops);
    if (ops->unlink(ops->self, path) != 0) {
        if (errno == ENOENT)
            return es_fail(err, ES_NOT_FOUND, "%s: there is no such file", path);
        return es_fail_errno(err, errno, "%s: cannot be removed", path);
    }
    return sync_folder(ops, path, err);
}

/* ---- Folders ---- */

static enum es_status make_one(const struct es_file_ops *ops, const char *path, mode_t mode,
                               struct es_error *err)
{
    struct stat info;

    if (ops->mkdir(ops->self, path, mode) == 0)
        return sync_folder(ops, path, err);
    int errnum = errno;
    if (errnum == EEXIST && stat(path, &info) == 0 && S_ISDIR(info.st_mode))
        return ES_OK;
    if (errnum == EEXIST)
        return es_fail(err, ES_REFUSED, "%s: exists and is not a folder", path);
    return es_fail_errno(err, errnum, "%s: the folder cannot be made", path);
}

enum es_status es_folder_make(const struct es_file_ops *ops, const char *path, mode_t mode,
                              struct es_error *err)
{
    struct stat info;

    ops = given(ops);
    if (path[0] == '\0')
        return es_fail(err, ES_USAGE, "a folder's name is empty");
    if (stat(path, &info) == 0 && S_ISDIR(info.st_mode))
        return ES_OK;
    char *part = strdup(path);
    if (part == NULL)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", path);

    enum es_status status = ES_OK;
    size_t length = strlen(part);
    while (length > 1 && part[length - 1] == '/') /* its own name must be what sync_folder cuts off */
        part[--length] = '\0';
    for (size_t i = 1; i <= length && status == ES_OK; i++) {
        if (part[i] != '/' && part[i] != '\0')
            continue;
        char kept = part[i];
        part[i] = '\0';
        if (part[i - 1] != '/')
            status = make_one(ops, part, mode, err);
        part[i] = kept;
    }
    free(part);
    return status;
}

/* ---- Appending ---- */

enum es_status es_appender_open(const struct es_file_ops *ops, const char *path, mode_t mode,
                                struct es_appender *out, struct es_error *err)
{
    enum es_status status;
    struct es_appender a = {.ops = given(ops), .fd = -1};

    ops = a.ops;
    a.path = strdup(path);
    if (a.path == NULL)
        return es_fail(err, ES_NO_MEMORY, "%s: out of memory", path);
    a.fd = ops->open(ops->self, path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC | O_NOCTTY, mode);
    if (a.fd < 0) {
        status = open_failed(err, path, errno);
        goto free_path;
    }
    a.length = ops->size(ops->self, a.fd);
    if (a.length < 0) {
        status = es_fail_errno(err, errno, "%s: its size cannot be found", path);
        goto close_file;
    }
    status = sync_folder(ops, path, err);
    if (status != ES_OK)
        goto close_file;
    *out = a;
    return ES_OK;

close_file:
    (void)ops->close(ops->self, a.fd);
free_path:
    free(a.path);
    return status;
}

static enum es_status is_broken(const struct es_appender *a, struct es_error *err)
{
    return es_fail(err, ES_DISABLED, "%s: an earlier write failed; nothing more is written to it", a->path);
}

enum es_status es_appender_write(struct es_appender *a, const void *bytes, size_t length,
                                 struct es_error *err)
{
    if (a->broken)
        return is_broken(a, err);
    if (write_all(a->ops, a->fd, bytes, length) == 0) {
        a->length += (off_t)length;
        return ES_OK;
    }
    int errnum = errno;
    if (a->ops->truncate(a->ops->self, a->fd, a->length) != 0)
        a->broken = true;
    return es_fail_errno(err, errnum, "%s: cannot be written", a->path);
}

enum es_status es_appender_sync(struct es_appender *a, struct es_error *err)
{
    if (a->broken)
        return is_broken(a, err);
    if (a->ops->sync(a->ops->self, a->fd) == 0)
        return ES_OK;
    a->broken = true;
    return es_fail_errno(err, errno, "%s: cannot be made durable", a->path);
}

enum es_status es_appender_close(struct es_appender *a, struct es_error *err)
{
    enum es_status status = ES_OK;

    if (a->path == NULL)
        return ES_OK;
    if (a->ops->close(a->ops->self, a->fd) != 0)
        status = es_fail_errno(err, errno, "%s: cannot be closed", a->path);
    free(a->path);
    *a = (struct es_appender){.fd = -1};
    return status;
}
