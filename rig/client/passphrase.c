#include "rig/client/passphrase.h"

#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

static enum es_status from_terminal(const char *label, const char *path, char *out, size_t size,
                                    size_t *length, struct es_error *err)
{
    int fd = open("/dev/tty", O_RDWR | O_CLOEXEC | O_NOCTTY);
    struct termios before, silent;
    if (fd < 0)
        return es_fail(
            err, ES_REFUSED,
            "%s: there is no terminal to ask for its passphrase; give it by --passphrase-file FILE", path);
    enum es_status s = ES_OK;
    if (tcgetattr(fd, &before) != 0) {
        s = es_fail_errno(err, errno, "the terminal cannot be asked");
        goto close_terminal;
    }
    silent = before;
    silent.c_lflag &= ~(tcflag_t)ECHO;
    silent.c_lflag |= ECHONL | ICANON;
    if (dprintf(fd, "%s %s: ", label, path) < 0 || tcsetattr(fd, TCSAFLUSH, &silent) != 0) {
        s = es_fail_errno(err, errno, "the terminal cannot be asked");
        goto close_terminal;
    }
    s = es_passphrase_line(fd, "the terminal", out, size, length, err);
    (void)tcsetattr(fd, TCSAFLUSH, &before);
close_terminal:
    (void)close(fd);
    return s;
}

static enum es_status ask_twice(const char *label, const char *path, char *out, size_t size, size_t *length,
                                struct es_error *err)
{
    char *again = sodium_malloc(size);
    size_t again_length = 0;
    if (again == NULL)
        return es_fail(err, ES_NO_MEMORY, "no guarded memory for a passphrase");
    enum es_status s = from_terminal(label, path, out, size, length, err);
    if (s == ES_OK)
        s = from_terminal("once more, the", path, again, size, &again_length, err);
    if (s == ES_OK && (*length != again_length || sodium_memcmp(out, again, again_length) != 0))
        s = es_fail(err, ES_USAGE, "the two passphrases differ; nothing was done");
    sodium_free(again);
    return s;
}

static enum es_status ask(void *self, const char *path, char *out, size_t size, size_t *length,
                          struct es_error *err)
{
    const struct es_passphrase_source *source = self;
    const char *label = source->label != NULL ? source->label : "passphrase of";
    if (source->file != NULL) {
        const struct es_passphrase file = es_passphrase_of_file(source->file);
        return file.ask(file.self, path, out, size, length, err);
    }
    return source->twice ? ask_twice(label, path, out, size, length, err)
                         : from_terminal(label, path, out, size, length, err);
}

struct es_passphrase es_passphrase_from(struct es_passphrase_source *source)
{
    return (struct es_passphrase){.self = source, .ask = ask};
}
