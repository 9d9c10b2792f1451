#include "rig/base/clock.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/timex.h>
#include <time.h>

es_time es_clock_now(void)
{
    struct timespec now;

    (void)clock_gettime(CLOCK_MONOTONIC, &now); /* cannot fail: the clock exists, the pointer is good */
    return (es_time)now.tv_sec * ES_NS_PER_S + now.tv_nsec;
}

void es_clock_sleep_until(es_time deadline)
{
    struct timespec at = {.tv_sec = (time_t)(deadline / ES_NS_PER_S),
                          .tv_nsec = (long)(deadline % ES_NS_PER_S)};

    if (deadline <= 0)
        return;
    while (clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, NULL) == EINTR) {
    }
}

void es_clock_wall_text(char out[static 32])
{
    struct timespec now;
    struct tm parts;
    char seconds[32];

    (void)clock_gettime(CLOCK_REALTIME, &now);
    if (gmtime_r(&now.tv_sec, &parts) == NULL ||
        strftime(seconds, sizeof seconds, "%Y-%m-%dT%H:%M:%S", &parts) == 0)
        (void)strcpy(seconds, "0000-01-01T00:00:00"); /* year beyond int */
    (void)snprintf(out, 32, "%.20s.%03uZ", seconds, (unsigned)(now.tv_nsec / 1000000) % 1000u);
}

bool es_clock_is_synchronised(void)
{
    struct timex state = {.modes = 0};
    int answer = adjtimex(&state);

    return answer != -1 && answer != TIME_ERROR && (state.status & STA_UNSYNC) == 0;
}

bool es_date_parse(const char *text, int *year, int *month, int *day)
{
    static const int lengths[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int digits[8];
    int count = 0;

    if (strlen(text) != 10)
        return false;
    for (int i = 0; i < 10; i++) {
        if (i == 4 || i == 7) {
            if (text[i] != '-')
                return false;
            continue;
        }
        if (text[i] < '0' || text[i] > '9')
            return false;
        digits[count++] = text[i] - '0';
    }
    int y = digits[0] * 1000 + digits[1] * 100 + digits[2] * 10 + digits[3];
    int m = digits[4] * 10 + digits[5];
    int d = digits[6] * 10 + digits[7];
    if (m < 1 || m > 12 || d < 1)
        return false;
    bool leap = (y % 4 == 0 && y % 100 != 0) || y % 400 == 0;
    if (d > lengths[m - 1] + (m == 2 && leap))
        return false;
    *year = y;
    *month = m;
    *day = d;
    return true;
}
