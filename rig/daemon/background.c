#include <errno.h>
#include <fcntl.h>
#include <sys/types.h>
#include <unistd.h>

#include "rig/daemon/background.h"

static _Noreturn void wait_for_daemon(int from)
{
    unsigned char status;
    ssize_t n;
    do
        n = read(from, &status, 1);
    while (n < 0 && errno == EINTR);
    _exit(n == 1 ? status : 3); /* ended without a word */
}

enum es_status es_background_begin(int *ready, struct es_error *err)
{
    int ends[2];
    if (pipe2(ends, O_CLOEXEC) != 0)
        return es_fail_errno(err, errno, "no pipe could be made");
    pid_t child = fork();
    if (child < 0) {
        int reason = errno;
        close(ends[0]);
        close(ends[1]);
        return es_fail_errno(err, reason, "the daemon could not be forked");
    }
    if (child > 0) {
        close(ends[1]);
        wait_for_daemon(ends[0]);
    }
    close(ends[0]);
    if (setsid() < 0) {
        int reason = errno;
        close(ends[1]);
        return es_fail_errno(err, reason, "the daemon could not leave its terminal");
    }
    *ready = ends[1];
    return ES_OK;
}

static void tell(int ready, int exit_status)
{
    unsigned char status = (unsigned char)exit_status;
    ssize_t n;
    do
        n = write(ready, &status, 1);
    while (n < 0 && errno == EINTR);
    close(ready);
}

enum es_status es_background_ready(int ready, const char *log, struct es_error *err)
{
    enum es_status s = ES_OK;
    int in = open("/dev/null", O_RDONLY | O_CLOEXEC);
    int out = open(log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0640);
    if (in < 0 || out < 0 || dup2(in, 0) < 0 || dup2(out, 1) < 0 || dup2(out, 2) < 0)
        s = es_fail_errno(err, errno, "the log %s could not be opened", log);
    if (in > 2)
        close(in);
    if (out > 2)
        close(out);
    tell(ready, es_exit_status(s));
    return s;
}

void es_background_failed(int ready, int exit_status)
{
    tell(ready, exit_status);
}
