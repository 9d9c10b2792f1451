/* A passphrase out of a file. */
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <sys/stat.h>
#include <unistd.h>

#include "results/certificate/key.h"

enum es_status es_passphrase_line(int fd, const char *name, char *out, size_t size, size_t *length,
                                  struct es_error *err)
{
    size_t used = 0;
    for (;;) {
        char c;
        ssize_t n = read(fd, &c, 1);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return es_fail_errno(err, errno, "%s: the passphrase cannot be read", name);
        if (n == 0 || c == '\n')
            break;
        if (used == size)
            return es_fail(err, ES_RANGE, "%s: a passphrase has at most %zu bytes", name, size);
        out[used++] = c;
    }
    *length = used;
    return ES_OK;
}

static enum es_status from_file(const char *path, char *out, size_t size, size_t *length,
                                struct es_error *err)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
    struct stat info;
    enum es_status s = ES_OK;
    if (fd < 0)
        return es_fail_errno(err, errno, "%s: the file with the passphrase cannot be opened", path);
    if (fstat(fd, &info) != 0)
        s = es_fail_errno(err, errno, "%s: cannot be examined", path);
    else if (S_ISREG(info.st_mode) && (info.st_mode & (S_IRWXG | S_IRWXO)) != 0)
        s = es_fail(err, ES_REFUSED,
                    "%s: others than its owner have rights to this file with a passphrase (mode %03o). If "
                    "nobody can have read it: chmod 600 %s. Else choose another passphrase",
                    path, (unsigned)(info.st_mode & 0777), path);
    if (s == ES_OK)
        s = es_passphrase_line(fd, path, out, size, length, err);
    (void)close(fd);
    return s;
}

static enum es_status ask(void *self, const char *path, char *out, size_t size, size_t *length,
                          struct es_error *err)
{
    (void)path; /* of the key: one file for one passphrase */
    return from_file(self, out, size, length, err);
}

struct es_passphrase es_passphrase_of_file(const char *path)
{
    return (struct es_passphrase){.self = (void *)(uintptr_t)path, .ask = ask};
}
