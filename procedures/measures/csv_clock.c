#include "procedures/measures/csv_clock.h"

#include <stdlib.h>
#include <string.h>

#define DAY     86400.0
#define LONGEST 48

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

bool es_csv_like_clock(const char *text, size_t length)
{
    size_t n = 0;
    while (n < length && is_digit(text[n]))
        n++;
    if (n == 4 && length >= 10)
        return text[4] == '-' && text[7] == '-';
    return (n == 1 || n == 2) && n + 2 < length && text[n] == ':' && is_digit(text[n + 1]);
}

/* Exactly `count` digits at *p, which it passes. */
static bool take_digits(const char **p, size_t count, long *out)
{
    *out = 0;
    for (size_t i = 0; i < count; i++) {
        if (!is_digit((*p)[i]))
            return false;
        *out = *out * 10 + ((*p)[i] - '0');
    }
    *p += count;
    return true;
}

static bool take_sign(const char **p, char sign)
{
    if (**p != sign)
        return false;
    (*p)++;
    return true;
}

/* Days from 1970-01-01 in the Gregorian calendar (as ISO 8601 counts); years from 1 March make leap days
 * last. */
static long days_of(long year, long month, long day)
{
    long y = year - (month <= 2), m = (month + 9) % 12;
    return 365 * y + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 1 - 719468;
}

static bool take_date(const char **p, struct es_csv_clock *out)
{
    static const long lengths[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    long year, month, day;
    if (!take_digits(p, 4, &year) || !take_sign(p, '-') || !take_digits(p, 2, &month) || !take_sign(p, '-') ||
        !take_digits(p, 2, &day) || year < 1 || month < 1 || month > 12)
        return false;
    bool leap = month == 2 && year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    if (day < 1 || day > lengths[month - 1] + leap)
        return false;
    out->dated = true;
    out->day = days_of(year, month, day);
    return take_sign(p, 'T') || take_sign(p, ' ');
}

/* ".25", ",25" or nothing, s. */
static bool take_fraction(const char **p, double *out)
{
    char digits[LONGEST + 2] = "0.";
    size_t n = 2;
    *out = 0;
    if (**p != '.' && **p != ',')
        return true;
    for ((*p)++; is_digit(**p); (*p)++)
        digits[n++] = **p;
    digits[n] = '\0';
    *out = strtod(digits, NULL);
    return n > 2;
}

/* hh:mm, hh:mm:ss, hh:mm:ss.fff; the hour in one digit too. */
static bool take_time(const char **p, double *out)
{
    long hour, minute, second = 0;
    double fraction = 0;
    if (!take_digits(p, is_digit((*p)[0]) && is_digit((*p)[1]) ? 2 : 1, &hour) || !take_sign(p, ':') ||
        !take_digits(p, 2, &minute))
        return false;
    if (take_sign(p, ':') && (!take_digits(p, 2, &second) || !take_fraction(p, &fraction)))
        return false;
    *out = (double)(hour * 3600 + minute * 60 + second) + fraction;
    return hour <= 23 && minute <= 59 && second <= 60; /* 60: a leap second */
}

/* "Z", "+01:00", "+0100", "+01"; nothing is local time. Moves the time to UTC. */
static bool take_zone(const char **p, struct es_csv_clock *out)
{
    long hours, minutes = 0;
    bool west = **p == '-';
    if (take_sign(p, 'Z')) {
        out->zoned = true;
        return true;
    }
    if (!take_sign(p, '+') && !take_sign(p, '-'))
        return true;
    if (!take_digits(p, 2, &hours))
        return false;
    bool colon = take_sign(p, ':');
    if ((colon || is_digit(**p)) && !take_digits(p, 2, &minutes))
        return false;
    double offset = (double)(hours * 3600 + minutes * 60);
    out->zoned = true;
    out->second += west ? offset : -offset;
    return hours <= 23 && minutes <= 59;
}

bool es_csv_clock_read(const char *text, size_t length, struct es_csv_clock *out)
{
    char copy[LONGEST];
    const char *p = copy;
    *out = (struct es_csv_clock){0};
    if (length >= sizeof copy)
        return false;
    memcpy(copy, text, length);
    copy[length] = '\0';
    if (length > 4 && copy[4] == '-' && !take_date(&p, out))
        return false;
    return take_time(&p, &out->second) && take_zone(&p, out) && *p == '\0';
}

double es_csv_clock_between(const struct es_csv_clock *a, const struct es_csv_clock *b)
{
    return (double)(b->day - a->day) * DAY + (b->second - a->second);
}
