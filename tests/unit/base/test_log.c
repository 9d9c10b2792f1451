#include <criterion/criterion.h>
#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rig/base/log.h"

static char *logged(const struct es_log *given, enum es_log_level level, const char *text)
{
    static char line[8192];
    int ends[2];
    struct es_log log = *given;

    cr_assert_eq(pipe(ends), 0);
    log.fd = ends[1];
    es_log(&log, level, "%s", text);
    (void)close(ends[1]);
    ssize_t n = read(ends[0], line, sizeof line - 1);
    (void)close(ends[0]);
    cr_assert_geq(n, 0);
    line[n] = '\0';
    return line;
}

Test(log, line_with_time_and_level)
{
    struct es_log log = {.most = ES_LOG_INFO};
    char *line = logged(&log, ES_LOG_WARNING, "bus A is quiet");

    cr_assert_gt(strlen(line), 25);
    cr_expect_eq(line[23], 'Z');
    cr_expect_str_eq(line + 24, " warning: bus A is quiet\n");
}

Test(log, journal_style)
{
    struct es_log log = {.most = ES_LOG_INFO, .journal = true};

    cr_expect_str_eq(logged(&log, ES_LOG_ERROR, "x"), "<3>x\n");
}

Test(log, one_event_one_line)
{
    struct es_log log = {.most = ES_LOG_INFO, .journal = true};

    cr_expect_str_eq(logged(&log, ES_LOG_INFO, "a\nb\x1B[2J"), "<6>a\\nb\\u{001B}[2J\n");
}

Test(log, levels_are_left_out)
{
    struct es_log log = {.most = ES_LOG_NOTICE};

    cr_expect_str_eq(logged(&log, ES_LOG_INFO, "x"), "");
    cr_expect_str_eq(logged(&log, ES_LOG_DEBUG, "x"), "");
    cr_expect_str_neq(logged(&log, ES_LOG_NOTICE, "x"), "");
}

Test(log, never_disturbs)
{
    struct es_log closed = {.fd = -1, .most = ES_LOG_DEBUG}, bad = {.fd = 9999, .most = ES_LOG_DEBUG};

    errno = EAGAIN;
    es_log(NULL, ES_LOG_ERROR, "x");
    es_log(&closed, ES_LOG_ERROR, "x");
    es_log(&bad, ES_LOG_ERROR, "x");
    cr_expect_eq(errno, EAGAIN);
}

Test(log, level_words)
{
    enum es_log_level level = ES_LOG_ERROR;

    for (int i = ES_LOG_ERROR; i <= ES_LOG_DEBUG; i++) {
        cr_expect(es_log_level_find(es_log_level_word((enum es_log_level)i), &level));
        cr_expect_eq(level, (enum es_log_level)i);
    }
    cr_expect_not(es_log_level_find("loud", &level));
    cr_expect_str_eq(es_log_level_word((enum es_log_level)0), "unknown level");
}

/* systemd.exec(5), JOURNAL_STREAM: "device:inode" of the stream. */
Test(log, journal_is_recognised_by_its_stream)
{
    struct stat info;
    char stream[64];

    cr_assert_eq(fstat(STDERR_FILENO, &info), 0);
    (void)snprintf(stream, sizeof stream, "%ju:%ju", (uintmax_t)info.st_dev, (uintmax_t)info.st_ino);
    cr_assert_eq(setenv("JOURNAL_STREAM", stream, 1), 0);
    cr_expect(es_log_to_stderr(ES_LOG_INFO).journal);
    cr_assert_eq(setenv("JOURNAL_STREAM", "1:1", 1), 0);
    cr_expect_not(es_log_to_stderr(ES_LOG_INFO).journal);
    cr_assert_eq(unsetenv("JOURNAL_STREAM"), 0);
    cr_expect_not(es_log_to_stderr(ES_LOG_INFO).journal);
}
