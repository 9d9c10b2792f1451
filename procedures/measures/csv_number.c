#include "procedures/measures/csv_number.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define LONGEST 64

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

bool es_csv_is_missing(const char *text, size_t length)
{
    static const char *const words[] = {"", "nan", "-", "--", "n/a", "na", "null"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strlen(words[i]) == length && strncasecmp(text, words[i], length) == 0)
            return true;
    return false;
}

/* Up to 18 digits with at most one mark, the decimal one: nearly every cell of a long recording. Correctly
 * rounded, as strtold is: whole and power of ten are exact in a long double. */
static bool read_plain(const char *s, size_t left, char decimal, long double *out)
{
    static const long double tens[] = {1e0L,  1e1L,  1e2L,  1e3L,  1e4L,  1e5L,  1e6L,  1e7L,  1e8L, 1e9L,
                                       1e10L, 1e11L, 1e12L, 1e13L, 1e14L, 1e15L, 1e16L, 1e17L, 1e18L};
    bool negative = left && *s == '-';
    const char *p = s + negative, *end = s + left, *mark = NULL;
    uint64_t whole = 0;
    size_t digits = 0;
    for (; p < end; p++) {
        if (is_digit(*p) && ++digits <= 18)
            whole = whole * 10 + (uint64_t)(*p - '0');
        else if (*p == decimal && !mark && digits)
            mark = p;
        else
            return false;
    }
    if (digits == 0)
        return false;
    long double v = (long double)whole / tens[mark ? end - mark - 1 : 0];
    *out = negative ? -v : v;
    return true;
}

bool es_csv_is_plain(const char *text, size_t length, char decimal)
{
    long double v;
    return read_plain(text, length, decimal, &v);
}

/* A number taken apart: sign, body of digits and marks, exponent. Blanks and apostrophes between digits are
 * thousands marks. */
struct parts {
    bool negative;
    char body[LONGEST]; /* digits, '.' and ',' and '\'' for a blank or apostrophe */
    size_t length;
    char exponent[16];
};

/* Bytes of a blank that may group digits: blank, no-break space, narrow no-break space, apostrophe. */
static size_t grouping_blank(const char *s, size_t left)
{
    if (s[0] == ' ' || s[0] == '\'')
        return 1;
    if (left >= 2 && memcmp(s, "\xc2\xa0", 2) == 0)
        return 2;
    if (left >= 3 && (memcmp(s, "\xe2\x80\xaf", 3) == 0 || memcmp(s, "\xe2\x80\x99", 3) == 0))
        return 3;
    return 0;
}

static bool take_exponent(const char *s, size_t left, struct parts *p)
{
    size_t n = 1, digits = 0;
    if (left >= sizeof p->exponent)
        return false;
    if (n < left && (s[n] == '+' || s[n] == '-'))
        n++;
    for (; n < left && is_digit(s[n]); n++)
        digits++;
    memcpy(p->exponent, s, left);
    p->exponent[left] = '\0';
    return n == left && digits > 0 && digits <= 4;
}

static bool take_apart(const char *s, size_t left, struct parts *p)
{
    *p = (struct parts){0};
    if (left && (*s == '+' || *s == '-')) {
        p->negative = *s == '-';
        s++;
        left--;
    } else if (left >= 3 && memcmp(s, "\xe2\x88\x92", 3) == 0) { /* minus sign */
        p->negative = true;
        s += 3;
        left -= 3;
    }
    size_t digits = 0;
    while (left) {
        size_t blank = grouping_blank(s, left);
        if (p->length + 1 >= LONGEST)
            return false;
        if (is_digit(*s) || *s == '.' || *s == ',') {
            digits += is_digit(*s);
            p->body[p->length++] = *s++;
            left--;
        } else if (blank && digits) {
            p->body[p->length++] = '\'';
            s += blank;
            left -= blank;
        } else if ((*s == 'e' || *s == 'E') && digits) {
            return take_exponent(s, left, p);
        } else {
            return false;
        }
    }
    return digits > 0;
}

static size_t count_of(const struct parts *p, char mark)
{
    size_t n = 0;
    for (size_t i = 0; i < p->length; i++)
        n += p->body[i] == mark;
    return n;
}

/* Are body[0..end) groups of a first one to three digits (no leading zero unless alone), then threes? */
static bool grouped(const char *body, size_t end, char mark)
{
    size_t run = 0, groups = 0;
    for (size_t i = 0; i <= end; i++) {
        if (i < end && is_digit(body[i])) {
            run++;
            continue;
        }
        if (i < end && body[i] != mark)
            return false;
        if (groups == 0 ? run < 1 || run > 3 : run != 3)
            return false;
        groups++;
        run = 0;
    }
    return groups < 2 || body[0] != '0';
}

/* One mark of a kind and no other: does it allow one reading only? */
static bool sure_decimal(const struct parts *p, char mark)
{
    const char *at = memchr(p->body, mark, p->length);
    size_t before = (size_t)(at - p->body), after = p->length - before - 1;
    return after != 3 || before == 0 || before > 3 || p->body[0] == '0';
}

void es_csv_marks_of(const char *text, size_t length, struct es_csv_marks *out)
{
    struct parts p;
    *out = (struct es_csv_marks){0};
    if (!take_apart(text, length, &p))
        return;
    out->number = true;
    size_t points = count_of(&p, '.'), commas = count_of(&p, ','), blanks = count_of(&p, '\'');
    if (points && commas) {
        const char *point = memrchr(p.body, '.', p.length), *comma = memrchr(p.body, ',', p.length);
        out->decimal_point = point > comma && points == 1;
        out->decimal_comma = comma > point && commas == 1;
    } else if (points == 1) {
        bool sure = blanks || p.exponent[0] || sure_decimal(&p, '.');
        out->decimal_point = sure;
        out->open_point = !sure;
    } else if (commas == 1) {
        bool sure = blanks || p.exponent[0] || sure_decimal(&p, ',');
        out->decimal_comma = sure;
        out->open_comma = !sure;
    } else if (points > 1) {
        out->many_points = true;
    } else if (commas > 1) {
        out->decimal_point = true; /* commas group, so they are not the decimal mark */
    }
}

/* Digits and at most one point, for strtod; false when the marks do not fit the style. */
static bool normalise(const struct parts *p, const struct es_csv_style *style, char *out)
{
    char other = style->decimal == '.' ? ',' : '.';
    const char *last = memrchr(p->body, style->decimal, p->length);
    size_t whole = last ? (size_t)(last - p->body) : p->length;
    size_t decimals = count_of(p, style->decimal), others = count_of(p, other), blanks = count_of(p, '\'');
    char mark = others ? other : blanks ? '\'' : decimals > 1 ? style->decimal : 0;
    if ((others && blanks) || (decimals > 1 && (others || blanks || !style->grouped_by_decimal)))
        return false;
    if (mark && !grouped(p->body, whole, mark))
        return false;
    for (size_t i = whole; i < p->length; i++)
        if (i != whole && !is_digit(p->body[i]))
            return false;
    if (decimals > 1 && p->length - whole - 1 != 3)
        return false;
    size_t n = 0;
    if (p->negative)
        out[n++] = '-';
    for (size_t i = 0; i < p->length; i++)
        if (is_digit(p->body[i]))
            out[n++] = p->body[i];
        else if (i == whole)
            out[n++] = '.';
    memcpy(out + n, p->exponent, strlen(p->exponent) + 1);
    return true;
}

enum es_csv_reading es_csv_number_read(const char *text, size_t length, const struct es_csv_style *style,
                                       long double *out)
{
    struct parts p;
    char buffer[LONGEST + 32], *end;
    if (style->decimal && read_plain(text, length, style->decimal, out))
        return ES_CSV_NUMBER;
    if (es_csv_is_missing(text, length))
        return ES_CSV_MISSING;
    if (!take_apart(text, length, &p))
        return ES_CSV_MALFORMED;
    if (!style->decimal && (count_of(&p, '.') || count_of(&p, ',')))
        return ES_CSV_AMBIGUOUS;
    if (!normalise(&p, style, buffer))
        return ES_CSV_MALFORMED;
    long double v = strtold(buffer, &end);
    if (*end || !isfinite((double)v))
        return ES_CSV_MALFORMED;
    *out = v;
    return ES_CSV_NUMBER;
}
