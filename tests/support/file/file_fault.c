#include "tests/support/file/file_fault.h"

#include <errno.h>

#define SYSTEM es_file_system()

static bool strikes(void *self)
{
    struct file_fault *f = self;
    f->calls++;
    bool now = f->countdown > 0 && (f->calls == f->countdown || (f->for_ever && f->calls > f->countdown));
    if (now) {
        errno = f->errnum;
    }
    return now;
}

static int f_open(void *self, const char *path, int flags, mode_t mode)
{
    return strikes(self) ? -1 : SYSTEM->open(NULL, path, flags, mode);
}
static ssize_t f_read(void *self, int fd, void *bytes, size_t size)
{
    return strikes(self) ? -1 : SYSTEM->read(NULL, fd, bytes, size);
}
static ssize_t f_write(void *self, int fd, const void *bytes, size_t size)
{
    if (!strikes(self)) {
        return SYSTEM->write(NULL, fd, bytes, size);
    }
    int errnum = ((struct file_fault *)self)->errnum;
    if (errnum == EINTR && size > 1) { /* interrupted after a part: POSIX has write say how much */
        return SYSTEM->write(NULL, fd, bytes, size / 2);
    }
    (void)SYSTEM->write(NULL, fd, bytes, size / 2);
    errno = errnum;
    return -1;
}
static int f_sync(void *self, int fd)
{
    return strikes(self) ? -1 : SYSTEM->sync(NULL, fd);
}
static int f_truncate(void *self, int fd, off_t size)
{
    return strikes(self) ? -1 : SYSTEM->truncate(NULL, fd, size);
}
static off_t f_size(void *self, int fd)
{
    return strikes(self) ? -1 : SYSTEM->size(NULL, fd);
}
static int f_close(void *self, int fd)
{
    bool failed = strikes(self);
    int result = SYSTEM->close(NULL, fd);
    errno = ((struct file_fault *)self)->errnum;
    return failed ? -1 : result;
}
static int f_rename(void *self, const char *from, const char *to)
{
    return strikes(self) ? -1 : SYSTEM->rename(NULL, from, to);
}
static int f_link(void *self, const char *from, const char *to)
{
    return strikes(self) ? -1 : SYSTEM->link(NULL, from, to);
}
static int f_unlink(void *self, const char *path)
{
    return strikes(self) ? -1 : SYSTEM->unlink(NULL, path);
}
static int f_mkdir(void *self, const char *path, mode_t mode)
{
    return strikes(self) ? -1 : SYSTEM->mkdir(NULL, path, mode);
}

void file_fault_init(struct file_fault *fault, long countdown, bool for_ever, int errnum)
{
    *fault = (struct file_fault){.countdown = countdown, .for_ever = for_ever, .errnum = errnum};
    fault->ops = (struct es_file_ops){.self = fault,
                                      .open = f_open,
                                      .read = f_read,
                                      .write = f_write,
                                      .sync = f_sync,
                                      .truncate = f_truncate,
                                      .size = f_size,
                                      .close = f_close,
                                      .rename = f_rename,
                                      .link = f_link,
                                      .unlink = f_unlink,
                                      .mkdir = f_mkdir};
}
