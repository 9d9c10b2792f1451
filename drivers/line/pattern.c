/* Matching takes each part as it comes; only the latest {any} is ever stretched, so the time is at most the
 * product of the two lengths. */
#include "drivers/line/pattern.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum part { PART_END, PART_LITERAL, PART_BLANK, PART_NUMBER, PART_STATE, PART_ANY, PART_FAULT };

/* The part that begins at *pattern, which is moved behind it. */
static enum part next_part(const char **pattern, char *literal)
{
    static const struct {
        const char *text;
        enum part part;
    } names[] = {
        {"{number}", PART_NUMBER}, {"{value}", PART_NUMBER}, {"{state}", PART_STATE}, {"{any}", PART_ANY}};
    const char *p = *pattern;
    if (*p == '\0')
        return PART_END;
    if (*p == ' ' || *p == '\t') {
        *pattern = p + strspn(p, " \t");
        return PART_BLANK;
    }
    *literal = *p;
    if (*p != '{' || p[1] == '{') {
        *pattern = p + (*p == '{' ? 2 : 1);
        return PART_LITERAL;
    }
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        size_t n = strlen(names[i].text);
        if (strncmp(p, names[i].text, n) == 0) {
            *pattern = p + n;
            return names[i].part;
        }
    }
    return PART_FAULT;
}

const char *es_pattern_fault(const char *pattern, size_t numbers)
{
    size_t found = 0;
    bool after_any = false;
    char literal;
    for (;;) {
        enum part part = next_part(&pattern, &literal);
        if (part == PART_FAULT)
            return "{ begins {number}, {state}, {value} or {any}; a brace itself is written {{";
        if (part == PART_END)
            break;
        if (part == PART_NUMBER || part == PART_STATE)
            found++;
        if (part == PART_ANY && after_any)
            return "two {any} in a row mean no more than one";
        after_any = part == PART_ANY;
    }
    if (found == numbers)
        return NULL;
    return numbers ? "a pattern with exactly one {number}, {value} or {state}"
                   : "a text without {number}, {value} and {state}";
}

static size_t digits(const char *text, size_t length)
{
    size_t n = 0;
    while (n < length && text[n] >= '0' && text[n] <= '9')
        n++;
    return n;
}

/* Length of the number at `text`, 0 when there is none: NR1, NR2, NR3 (IEEE 488.2, 8.7.2 to 8.7.4). */
static size_t number_length(const char *text, size_t length)
{
    size_t at = length && (text[0] == '+' || text[0] == '-');
    size_t whole = digits(text + at, length - at), part = 0;
    at += whole;
    if (at < length && text[at] == '.') {
        part = digits(text + at + 1, length - at - 1);
        if (whole || part)
            at += 1 + part;
    }
    if (!whole && !part)
        return 0;
    if (at < length && (text[at] == 'E' || text[at] == 'e')) {
        size_t sign = at + 1 < length && (text[at + 1] == '+' || text[at + 1] == '-');
        size_t exponent = digits(text + at + 1 + sign, length - at - 1 - sign);
        if (exponent)
            at += 1 + sign + exponent;
    }
    return at;
}

static size_t match_number(const char *text, size_t length, struct es_raw *value)
{
    static const char *const words[] = {"nan", "ninf", "-inf", "+inf", "inf"};
    char copy[64];
    size_t n = number_length(text, length);
    if (n == 0) {
        for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
            size_t w = strlen(words[i]);
            if (length >= w && strncasecmp(text, words[i], w) == 0) {
                *value = (struct es_raw){0, false};
                return w;
            }
        }
        return 0;
    }
    if (n >= sizeof copy)
        return 0; /* no instrument writes that */
    memcpy(copy, text, n);
    copy[n] = '\0';
    char *end;
    double number = strtod(copy, &end);
    if (*end != '\0')
        return 0;
    /* SCPI-99 vol. 1, 7.2.1.4 and 7.2.1.5: 9.9E37 is infinity, 9.91E37 not a number. */
    *value = (struct es_raw){number, isfinite(number) && fabs(number) < 9.9e37};
    return n;
}

static size_t match_state(const char *text, size_t length, struct es_raw *value)
{
    if (length >= 3 && strncasecmp(text, "off", 3) == 0) {
        *value = (struct es_raw){0, true};
        return 3;
    }
    if (length >= 2 && strncasecmp(text, "on", 2) == 0) {
        *value = (struct es_raw){1, true};
        return 2;
    }
    if (length >= 1 && (text[0] == '0' || text[0] == '1')) {
        *value = (struct es_raw){text[0] - '0', true};
        return 1;
    }
    return 0;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

bool es_pattern_match(const char *pattern, const char *text, size_t length, struct es_raw *value)
{
    while (length && is_blank(text[0]))
        text++, length--;
    while (length && is_blank(text[length - 1]))
        length--;
    while (*pattern == ' ' || *pattern == '\t')
        pattern++;
    const char *stretch = NULL; /* pattern behind the latest {any} */
    size_t from = 0, at = 0;    /* where that part of the text begins; where we are */
    struct es_raw found = {0, false}, at_stretch = found;
    for (;;) {
        char literal = '\0';
        const char *here = pattern;
        enum part part = next_part(&pattern, &literal);
        size_t n = 0;
        bool good;
        switch (part) {
        case PART_END:
            good = at == length;
            if (good) {
                *value = found;
                return true;
            }
            break;
        case PART_LITERAL:
            good = at < length && text[at] == literal;
            n = 1;
            break;
        case PART_BLANK:
            while (at + n < length && is_blank(text[at + n]))
                n++;
            good = n > 0 || (at == length && *pattern == '\0');
            break;
        case PART_NUMBER:
            n = match_number(text + at, length - at, &found);
            good = n > 0;
            break;
        case PART_STATE:
            n = match_state(text + at, length - at, &found);
            good = n > 0;
            break;
        case PART_ANY:
            stretch = pattern;
            from = at;
            at_stretch = found;
            continue;
        default:
            pattern = here;
            return false;
        }
        if (good) {
            at += n;
        } else {
            if (!stretch || from >= length)
                return false;
            pattern = stretch;
            at = ++from;
            found = at_stretch;
        }
    }
}

static bool put(char *out, size_t size, size_t *at, const char *text)
{
    size_t n = strlen(text);
    if (*at + n >= size)
        return false;
    memcpy(out + *at, text, n + 1);
    *at += n;
    return true;
}

bool es_pattern_fill(const char *pattern, double value, int decimals, char *out, size_t size)
{
    size_t at = 0;
    if (!isfinite(value) || size == 0)
        return false;
    out[0] = '\0';
    for (;;) {
        char text[400] = " ";
        char literal = '\0';
        switch (next_part(&pattern, &literal)) {
        case PART_END:
            return true;
        case PART_LITERAL:
            text[0] = literal;
            break;
        case PART_NUMBER:
            snprintf(text, sizeof text, "%.*f", decimals, value);
            break;
        case PART_STATE:
            if (value != 0 && value != 1)
                return false;
            snprintf(text, sizeof text, "%s", value != 0 ? "ON" : "OFF");
            break;
        case PART_ANY:
            text[0] = '\0';
            break;
        case PART_BLANK:
            break;
        default:
            return false;
        }
        if (!put(out, size, &at, text))
            return false;
    }
}
