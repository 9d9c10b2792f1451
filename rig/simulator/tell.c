/* The other end of the control socket: one command to a running simulator, for a shell. */
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/un.h>
#include <unistd.h>

#include "rig/base/text.h"
#include "rig/simulator/simulator.h"

#define PATIENCE 10 /* s */

static enum es_status reach(const char *path, int *out, struct es_error *err)
{
    struct sockaddr_un name = {.sun_family = AF_UNIX};
    const struct timeval patience = {.tv_sec = PATIENCE};
    if (strlen(path) >= sizeof name.sun_path) {
        return es_fail(err, ES_USAGE, "the path of the control socket is too long: %s", path);
    }
    memcpy(name.sun_path, path, strlen(path) + 1);
    const int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (fd < 0) {
        return es_fail_errno(err, errno, "cannot make a socket");
    }
    if (setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience) != 0 ||
        connect(fd, (const struct sockaddr *)&name, sizeof name) != 0) {
        const int e = errno;
        (void)close(fd);
        return es_fail_errno(err, e, "no simulator listens at %s (was it started with --control?)", path);
    }
    *out = fd;
    return ES_OK;
}

static enum es_status put(int fd, const char *command, struct es_error *err)
{
    struct es_text line = {0};
    es_text_printf(&line, "%s\n", command);
    const ssize_t sent = line.bytes ? send(fd, line.bytes, line.length, MSG_NOSIGNAL) : -1;
    const bool whole = sent == (ssize_t)line.length;
    es_text_free(&line);
    return whole ? ES_OK : es_fail(err, ES_IO, "the simulator did not take the command");
}

/* The answer's last line is "ok" or "error: ...". */
static const char *last_line(const struct es_text *answer)
{
    const char *end = answer->bytes ? answer->bytes + answer->length : NULL;
    if (!end || answer->length == 0 || end[-1] != '\n') {
        return NULL;
    }
    const char *begin = end - 1;
    while (begin > answer->bytes && begin[-1] != '\n') {
        begin--;
    }
    return strcmp(begin, "ok\n") == 0 || strncmp(begin, "error: ", 7) == 0 ? begin : NULL;
}

static enum es_status listen_to(int fd, struct es_text *answer, struct es_error *err)
{
    char part[4096];
    while (!last_line(answer)) {
        const ssize_t got = recv(fd, part, sizeof part, 0);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got <= 0) {
            return got == 0 ? es_fail(err, ES_HANGUP, "the simulator hung up without an answer")
                            : es_fail_errno(err, errno, "the simulator does not answer");
        }
        es_text_append(answer, part, (size_t)got);
        if (answer->out_of_memory) {
            return es_fail(err, ES_NO_MEMORY, "no memory for the answer");
        }
    }
    return ES_OK;
}

enum es_status sim_tell(const char *path, const char *command, struct es_text *answer, struct es_error *err)
{
    int fd = -1;
    if (strchr(command, '\n')) {
        return es_fail(err, ES_USAGE, "one command at a time");
    }
    enum es_status s = reach(path, &fd, err);
    if (s != ES_OK) {
        return s;
    }
    s = put(fd, command, err);
    if (s == ES_OK) {
        s = listen_to(fd, answer, err);
    }
    (void)close(fd);
    if (s != ES_OK) {
        return s;
    }
    char *last = answer->bytes + (last_line(answer) - answer->bytes);
    if (*last == 'e') {
        last[strlen(last) - 1] = '\0';
        s = es_fail(err, ES_REFUSED, "%s", last + 7);
    }
    *last = '\0';
    answer->length = (size_t)(last - answer->bytes);
    return s;
}
