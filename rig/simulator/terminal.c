/* A pseudo-terminal that goes by the name in the bench file. */
#include <errno.h>
#include <fcntl.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <termios.h>
#include <unistd.h>

#include "rig/base/digest.h"
#include "rig/simulator/simulator.h"

#define OUR_KIND "/dev/pts/" /* what a link of ours points to */

static const struct sim_terminal closed = {.master = -1, .slave = -1, .claim = -1};

/* An abstract socket as a lock: gone with the process, whatever ends it. */
static enum es_status claim(struct sim_terminal *t, const char *path, struct es_error *err)
{
    char digest[65];
    struct sockaddr_un name = {.sun_family = AF_UNIX};
    es_digest_hex(path, strlen(path), digest);
    const int length = snprintf(name.sun_path + 1, sizeof name.sun_path - 1, "endstop-sim %.64s", digest);
    t->claim = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (t->claim < 0) {
        return es_fail_errno(err, errno, "cannot make a socket");
    }
    const socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + 1 + (size_t)length);
    if (bind(t->claim, (struct sockaddr *)&name, size) == 0) {
        return ES_OK;
    }
    if (errno == EADDRINUSE) {
        return es_fail(err, ES_REFUSED, "another endstop-sim already serves %s; end that one first", path);
    }
    return es_fail_errno(err, errno, "cannot claim %s", path);
}

static enum es_status open_pair(struct sim_terminal *t, struct es_error *err)
{
    struct termios settings;
    t->master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (t->master < 0 || grantpt(t->master) != 0 || unlockpt(t->master) != 0 ||
        ptsname_r(t->master, t->target, sizeof t->target) != 0) {
        return es_fail_errno(err, errno, "cannot make a pseudo-terminal");
    }
    t->slave = open(t->target, O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (t->slave < 0 || tcgetattr(t->slave, &settings) != 0) {
        return es_fail_errno(err, errno, "cannot open the pseudo-terminal %s", t->target);
    }
    cfmakeraw(&settings);
    if (tcsetattr(t->slave, TCSANOW, &settings) != 0) {
        return es_fail_errno(err, errno, "cannot set up the pseudo-terminal %s", t->target);
    }
    return ES_OK;
}

static bool is_our_kind(const char *path)
{
    char target[64];
    const ssize_t n = readlink(path, target, sizeof target - 1);
    return n > 0 && strncmp(target, OUR_KIND, strlen(OUR_KIND)) == 0;
}

static enum es_status make_link(struct sim_terminal *t, const char *path, struct es_error *err)
{
    struct stat about;
    if (lstat(path, &about) == 0) {
        if (!is_our_kind(path)) {
            return es_fail(
                err, ES_REFUSED,
                "%s exists and is not a link that a simulator left behind; it is not touched. Remove it, or "
                "name another device in the bench file",
                path);
        }
        if (unlink(path) != 0) {
            return es_fail_errno(err, errno, "cannot remove the old link %s", path);
        }
    } else if (errno != ENOENT) {
        return es_fail_errno(err, errno, "cannot look at %s", path);
    }
    t->link = strdup(path);
    if (!t->link) {
        return es_fail(err, ES_NO_MEMORY, "no memory");
    }
    if (symlink(t->target, path) != 0) {
        const int e = errno;
        free(t->link);
        t->link = NULL;
        return es_fail_errno(err, e, "cannot make the link %s to the pseudo-terminal", path);
    }
    return ES_OK;
}

/* The path without what its folder may be called by: one name for one place. The caller frees. */
static enum es_status settle_path(const char *path, char **out, struct es_error *err)
{
    const char *slash = strrchr(path, '/');
    const char *base = slash ? slash + 1 : path;
    char *folder = slash ? strndup(path, slash == path ? 1 : (size_t)(slash - path)) : strdup(".");
    char *real = folder ? realpath(folder, NULL) : NULL;
    const int error = errno;
    free(folder);
    if (!real) {
        return es_fail_errno(err, error, "the folder of %s", path);
    }
    const int length = asprintf(out, "%s/%s", strcmp(real, "/") == 0 ? "" : real, base);
    free(real);
    return length < 0 ? es_fail(err, ES_NO_MEMORY, "no memory") : ES_OK;
}

static enum es_status open_at(struct sim_terminal *t, const char *path, struct es_error *err)
{
    if (strncmp(path, "/dev/", 5) == 0) {
        return es_fail(
            err, ES_REFUSED,
            "%s is where real devices are; the simulator makes its lines elsewhere. Name a path beside the "
            "bench file",
            path);
    }
    enum es_status s = claim(t, path, err);
    if (s == ES_OK) {
        s = open_pair(t, err);
    }
    if (s == ES_OK) {
        s = make_link(t, path, err);
    }
    if (s != ES_OK) {
        sim_terminal_close(t);
    }
    return s;
}

enum es_status sim_terminal_open(struct sim_terminal *t, const char *path, struct es_error *err)
{
    char *settled = NULL;
    *t = closed;
    enum es_status s = settle_path(path, &settled, err);
    if (s == ES_OK) {
        s = open_at(t, settled, err);
    }
    free(settled);
    return s;
}

void sim_terminal_close(struct sim_terminal *t)
{
    char target[sizeof t->target];
    if (t->link) {
        const ssize_t n = readlink(t->link, target, sizeof target - 1);
        target[n > 0 ? n : 0] = '\0';
        if (strcmp(target, t->target) == 0) { /* still ours */
            (void)unlink(t->link);
        }
        free(t->link);
    }
    const int fds[] = {t->slave, t->master, t->claim};
    for (size_t i = 0; i < sizeof fds / sizeof fds[0]; i++) {
        if (fds[i] >= 0) {
            (void)close(fds[i]);
        }
    }
    *t = closed;
}
