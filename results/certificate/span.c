#include "results/certificate/span.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "rig/base/text.h"

#define DEPTH_MAX 64

struct scan {
    const char *p, *end;
    struct es_members *root;
};

/* ---- Strings ---- */

static bool is_lower_hex(char c)
{
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f');
}

/* Behind the backslash. Only what RFC 8785 3.2.2.2 writes: \u00xx for the controls that have no short form,
 * and never for NUL, which no certificate holds. */
static bool scan_escape(struct scan *s)
{
    if (s->p == s->end) {
        return false;
    }
    char c = *s->p++;
    if (c != 'u') {
        return c == '"' || c == '\\' || c == 'b' || c == 't' || c == 'n' || c == 'f' || c == 'r';
    }
    if (s->end - s->p < 4 || s->p[0] != '0' || s->p[1] != '0' || (s->p[2] != '0' && s->p[2] != '1') ||
        !is_lower_hex(s->p[3])) {
        return false;
    }
    int low = s->p[3] <= '9' ? s->p[3] - '0' : s->p[3] - 'a' + 10;
    int code = (s->p[2] - '0') * 16 + low;
    s->p += 4;
    return code != 0 && code != '\b' && code != '\t' && code != '\n' && code != '\f' && code != '\r';
}

/* What stands for itself in a string: no control, no '"', no '\\', nothing beyond ASCII. */
static bool is_plain(char c)
{
    return (unsigned char)(c - 0x20) < 0x60 && c != '"' && c != '\\';
}

/* From the opening quote to behind the closing one. *plain: ASCII without escapes. */
static bool scan_string(struct scan *s, bool *plain)
{
    *plain = true;
    if (s->p == s->end || *s->p++ != '"') {
        return false;
    }
    for (;;) {
        while (s->p < s->end && is_plain(*s->p)) {
            s->p++;
        }
        if (s->p == s->end) {
            return false;
        }
        unsigned char c = (unsigned char)*s->p;
        if (c == '"') {
            s->p++;
            return true;
        }
        if (c < 0x20) {
            return false;
        }
        if (c == '\\') {
            *plain = false;
            s->p++;
            if (!scan_escape(s)) {
                return false;
            }
        } else {
            *plain = false;
            size_t size = es_utf8_next(s->p, (size_t)(s->end - s->p), NULL);
            if (size == 0) {
                return false;
            }
            s->p += size;
        }
    }
}

/* Next character of a scanned string, escapes undone; as a rank that orders as UTF-16 units do. */
static uint32_t next_rank(const char **p, const char *end)
{
    uint32_t code = 0;
    if (**p != '\\') {
        *p += es_utf8_next(*p, (size_t)(end - *p), &code);
    } else if ((*p)[1] == 'u') {
        code = (uint32_t)strtoul((char[]){(*p)[4], (*p)[5], 0}, NULL, 16);
        *p += 6;
    } else {
        static const char from[] = "\"\\btnfr";
        static const char to[] = "\"\\\b\t\n\f\r";
        code = (uint32_t)to[strchr(from, (*p)[1]) - from];
        *p += 2;
    }
    if (code < 0x10000) {
        return code << 16;
    }
    code -= 0x10000;
    return (0xD800 + (code >> 10)) << 16 | (0xDC00 + (code & 0x3FF));
}

/* RFC 8785 3.2.3. Both with quotes. */
static bool rises(struct es_span a, struct es_span b, bool plain)
{
    if (plain) {
        size_t shared = (a.length < b.length ? a.length : b.length) - 2;
        int order = memcmp(a.at + 1, b.at + 1, shared);
        return order < 0 || (order == 0 && a.length < b.length);
    }
    const char *p = a.at + 1;
    const char *q = b.at + 1;
    const char *p_end = a.at + a.length - 1;
    const char *q_end = b.at + b.length - 1;
    while (p < p_end && q < q_end) {
        uint32_t left = next_rank(&p, p_end);
        uint32_t right = next_rank(&q, q_end);
        if (left != right) {
            return left < right;
        }
    }
    return p == p_end && q < q_end;
}

/* ---- Numbers ---- */

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Whether the text is what its value is written as; `text` is JSON's grammar and ends nowhere else than at
 * `length`. Without a point, so that no locale matters. */
static bool is_written_so(const char *text, size_t length)
{
    char own[41];
    char digits[80];
    char shown[ES_CANONICAL_NUMBER_MAX];
    size_t n = 0;
    long exponent = 0;
    bool point = false;
    size_t i = 0;
    if (length >= sizeof own) {
        return false; /* no number in its shortest form is that long */
    }
    memcpy(own, text, length);
    own[length] = '\0';
    for (; i < length && text[i] != 'e'; i++) {
        if (text[i] == '.') {
            point = true;
        } else {
            digits[n++] = text[i];
            exponent -= point ? 1 : 0;
        }
    }
    if (i < length) {
        exponent += strtol(own + i + 1, NULL, 10);
    }
    (void)snprintf(digits + n, sizeof digits - n, "e%ld", exponent);
    return es_canonical_number(strtod(digits, NULL), shown) && strlen(shown) == length &&
           memcmp(shown, text, length) == 0;
}

/* From the 'e' on. A short head (one digit that is not 0, and up to 14 behind the point) with an exponent
 * that is needed, in the range where doubles carry 15 digits, is its own shortest form; others are computed.
 */
static bool scan_exponent(struct scan *s, const char *begin, bool short_head)
{
    bool small = *s->p++ == 'e';
    bool minus = s->p < s->end && *s->p == '-';
    bool sign = minus || (s->p < s->end && *s->p == '+');
    s->p += sign;
    const char *first = s->p;
    int exponent = 0;
    while (s->p < s->end && is_digit(*s->p)) {
        exponent = exponent < 1000 ? exponent * 10 + (*s->p - '0') : exponent;
        s->p++;
    }
    if (s->p == first) {
        return false;
    }
    if (small && sign && short_head && *first != '0' && exponent < 300 && exponent >= (minus ? 7 : 21)) {
        return true;
    }
    return is_written_so(begin, (size_t)(s->p - begin));
}

/* A number of up to 15 digits survives the way into a double and back (DBL_DIG), so that its shortest form is
 * itself, and grammar alone decides. Others are computed. */
static bool scan_number(struct scan *s)
{
    const char *begin = s->p;
    s->p += s->p < s->end && *s->p == '-';
    const char *whole = s->p;
    while (s->p < s->end && is_digit(*s->p)) {
        s->p++;
    }
    size_t wholes = (size_t)(s->p - whole);
    if (wholes == 0 || (wholes > 1 && *whole == '0')) {
        return false;
    }
    size_t places = 0;
    size_t zeros = 0; /* behind the point, leading */
    if (s->p < s->end && *s->p == '.') {
        const char *first = ++s->p;
        while (s->p < s->end && is_digit(*s->p)) {
            zeros += *s->p == '0' && zeros == (size_t)(s->p - first);
            s->p++;
        }
        places = (size_t)(s->p - first);
        if (places == 0 || s->p[-1] == '0') {
            return false;
        }
    }
    if (s->p < s->end && (*s->p == 'e' || *s->p == 'E')) {
        bool short_head = wholes == 1 && *whole != '0' && places < 15;
        return scan_exponent(s, begin, short_head);
    }
    bool zero = wholes == 1 && *whole == '0';
    if (zero && places == 0) {
        return whole == begin; /* no "-0" */
    }
    if (wholes + places <= 15 && (!zero || zeros < 6)) {
        return true;
    }
    return is_written_so(begin, (size_t)(s->p - begin));
}

/* ---- Values ---- */

static bool scan_value(struct scan *s, int depth);

static bool take(struct scan *s, char c)
{
    bool there = s->p < s->end && *s->p == c;
    s->p += there;
    return there;
}

static bool scan_word(struct scan *s, const char *word)
{
    size_t length = strlen(word);
    if ((size_t)(s->end - s->p) < length || memcmp(s->p, word, length) != 0) {
        return false;
    }
    s->p += length;
    return true;
}

static bool scan_array(struct scan *s, int depth)
{
    if (take(s, ']')) {
        return true;
    }
    do {
        if (!scan_value(s, depth + 1)) {
            return false;
        }
    } while (take(s, ','));
    return take(s, ']');
}

static bool scan_object(struct scan *s, int depth)
{
    struct es_span before = {0};
    bool before_plain = true;
    if (take(s, '}')) {
        return true;
    }
    do {
        struct es_span name = {.at = s->p};
        bool plain = true;
        if (!scan_string(s, &plain)) {
            return false;
        }
        name.length = (size_t)(s->p - name.at);
        if ((before.at && !rises(before, name, before_plain && plain)) || !take(s, ':')) {
            return false;
        }
        const char *value = s->p;
        if (!scan_value(s, depth + 1)) {
            return false;
        }
        if (depth == 0 && s->root->count < ES_MEMBERS_MAX) {
            s->root->names[s->root->count] = name;
            s->root->values[s->root->count++] = (struct es_span){value, (size_t)(s->p - value)};
        }
        before = name;
        before_plain = plain;
    } while (take(s, ','));
    return take(s, '}');
}

static bool scan_value(struct scan *s, int depth)
{
    bool plain = true;
    if (depth > DEPTH_MAX || s->p == s->end) {
        return false;
    }
    switch (*s->p) {
    case '{':
        s->p++;
        return scan_object(s, depth);
    case '[':
        s->p++;
        return scan_array(s, depth);
    case '"':
        return scan_string(s, &plain);
    case 't':
        return scan_word(s, "true");
    case 'f':
        return scan_word(s, "false");
    case 'n':
        return scan_word(s, "null");
    default:
        return scan_number(s);
    }
}

bool es_span_scan(const char *bytes, size_t length, struct es_members *root)
{
    struct scan s = {.p = bytes, .end = bytes + length, .root = root};
    root->count = 0;
    return length > 0 && *bytes == '{' && scan_value(&s, 0) && s.p == s.end;
}

/* ---- Looking things up ---- */

bool es_span_is(struct es_span name, const char *text)
{
    /* Most names differ in their first letter: the length is looked at after that. */
    if (!name.at || name.at[0] != '"' || name.at[1] != (text[0] ? text[0] : '"')) {
        return false;
    }
    size_t length = strlen(text);
    return name.length == length + 2 && memcmp(name.at + 1, text, length) == 0;
}

struct es_span es_members_find(const struct es_members *members, const char *name)
{
    for (size_t i = 0; i < members->count; i++) {
        if (es_span_is(members->names[i], name)) {
            return members->values[i];
        }
    }
    return (struct es_span){0};
}

/* What stands between two values of a container without being one: all else is passed over. */
static const unsigned char ends_run[256] = {['"'] = 1, ['{'] = 1, ['['] = 1, ['}'] = 1, [']'] = 1};
static const unsigned char ends_text[256] = {['"'] = 1, ['\\'] = 1};

/* Behind the string that begins at `p`, in bytes known to be sound; so below. */
static const char *behind_string(const char *p)
{
    for (p++;; p += 2) {
        while (!ends_text[(unsigned char)*p]) {
            p++;
        }
        if (*p == '"') {
            return p + 1;
        }
    }
}

static const char *behind(const char *p)
{
    int depth = 0;
    if (*p == '"') {
        return behind_string(p);
    }
    if (*p != '{' && *p != '[') {
        return p + strcspn(p, ",]}");
    }
    do {
        while (!ends_run[(unsigned char)*p]) {
            p++;
        }
        if (*p == '"') {
            p = behind_string(p);
            continue;
        }
        depth += (*p == '{' || *p == '[') - (*p == '}' || *p == ']');
        p++;
    } while (depth > 0);
    return p;
}

bool es_span_next(struct es_span container, const char **cursor, struct es_span *name, struct es_span *value)
{
    const char *end = container.at + container.length - 1; /* on the closing bracket */
    const char *p = *cursor ? *cursor : container.at + 1;
    if (*cursor && p < end) {
        p++; /* the comma */
    }
    if (p >= end) {
        return false;
    }
    if (*container.at == '{') {
        const char *after = behind(p);
        *name = (struct es_span){p, (size_t)(after - p)};
        p = after + 1; /* the colon */
    }
    const char *after = behind(p);
    *value = (struct es_span){p, (size_t)(after - p)};
    *cursor = after;
    return true;
}

/* From the bracket of an object to behind its end. */
static const char *visit_members(const char *p, const struct es_span_visitor *visitor)
{
    for (p++; *p != '}'; p += *p == ',') {
        struct es_span name = {.at = p};
        p = behind_string(p);
        name.length = (size_t)(p - name.at);
        struct es_span value = {.at = ++p}; /* the colon */
        p = behind(p);
        value.length = (size_t)(p - value.at);
        visitor->member(visitor->self, name, value);
    }
    return p + 1;
}

bool es_span_objects(struct es_span array, const struct es_span_visitor *visitor)
{
    const char *end = array.at + array.length - 1; /* on the closing bracket */
    const char *p = array.at + 1;
    for (size_t index = 0; p < end; index++) {
        p = *p == '{' ? visit_members(p, visitor) : behind(p);
        if (!visitor->end(visitor->self, index)) {
            return false;
        }
        p += *p == ',';
    }
    return true;
}

bool es_span_text(struct es_span value, char *out, size_t size)
{
    if (!value.at || value.length < 2 || *value.at != '"' || value.length - 1 > size ||
        memchr(value.at, '\\', value.length)) {
        return false;
    }
    memcpy(out, value.at + 1, value.length - 2);
    out[value.length - 2] = 0;
    return true;
}
