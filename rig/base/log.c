#include "rig/base/log.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rig/base/clock.h"
#include "rig/base/text.h"

static const char *const words[] = {
    [ES_LOG_ERROR] = "error", [ES_LOG_WARNING] = "warning", [ES_LOG_NOTICE] = "notice",
    [ES_LOG_INFO] = "info",   [ES_LOG_DEBUG] = "debug",
};

const char *es_log_level_word(enum es_log_level level)
{
    return level >= ES_LOG_ERROR && level <= ES_LOG_DEBUG ? words[level] : "unknown level";
}

bool es_log_level_find(const char *word, enum es_log_level *out)
{
    for (int i = ES_LOG_ERROR; i <= ES_LOG_DEBUG; i++) {
        if (strcmp(words[i], word) == 0) {
            *out = (enum es_log_level)i;
            return true;
        }
    }
    return false;
}

/* systemd.exec(5): JOURNAL_STREAM holds device and inode of the stream that goes to the journal. */
static bool is_journal(int fd)
{
    const char *stream = getenv("JOURNAL_STREAM");
    struct stat info;
    char mine[64];

    if (stream == NULL || fstat(fd, &info) != 0)
        return false;
    (void)snprintf(mine, sizeof mine, "%ju:%ju", (uintmax_t)info.st_dev, (uintmax_t)info.st_ino);
    return strcmp(mine, stream) == 0;
}

struct es_log es_log_to_stderr(enum es_log_level most)
{
    return (struct es_log){.fd = STDERR_FILENO, .most = most, .journal = is_journal(STDERR_FILENO)};
}

static void write_line(int fd, const char *bytes, size_t length)
{
    while (length > 0) {
        ssize_t n = write(fd, bytes, length);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return;
        bytes += n;
        length -= (size_t)n;
    }
}

void es_log(const struct es_log *log, enum es_log_level level, const char *format, ...)
{
    if (log == NULL || log->fd < 0 || level > log->most)
        return;
    int kept = errno;
    struct es_text message = {0}, line = {0};
    va_list args;

    va_start(args, format);
    es_text_vprintf(&message, format, args);
    va_end(args);
    if (log->journal) {
        es_text_printf(&line, "<%d>", (int)level);
    } else {
        char now[32];
        es_clock_wall_text(now);
        es_text_printf(&line, "%s %s: ", now, es_log_level_word(level));
    }
    if (message.bytes != NULL)
        es_text_visible(&line, message.bytes, message.length);
    es_text_char(&line, '\n');
    if (!message.out_of_memory && !line.out_of_memory) {
        write_line(log->fd, line.bytes, line.length);
    } else {
        static const char lost[] = "a log line was lost: out of memory\n";
        write_line(log->fd, lost, sizeof lost - 1);
    }
    es_text_free(&message);
    es_text_free(&line);
    errno = kept;
}
