#include "results/certificate/canonical.h"

#include <float.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"

#define DEPTH_MAX 64

/* ---- Numbers: RFC 8785 3.2.2.3, ECMA-262 Number::toString ---- */

#define DIGITS_MAX 17 /* enough to tell every double apart */

struct decimal { /* 0.d1d2d3... times 10 to the power `point` */
    char digits[DIGITS_MAX + 1];
    int count;
    int point;
};

/* Correctly rounded to `count` digits. */
static struct decimal round_to(double value, int count)
{
    char text[48];
    (void)snprintf(text, sizeof text, "%.*e", count - 1, value);
    struct decimal d = {.count = count};
    int n = 0;
    const char *p = text;
    for (; *p != 'e'; p++) { /* whatever stands for the point in this locale is skipped */
        if (*p >= '0' && *p <= '9') {
            d.digits[n++] = *p;
        }
    }
    d.point = (int)strtol(p + 1, NULL, 10) + 1;
    return d;
}

static bool reads_back(const struct decimal *d, double value)
{
    char text[48]; /* without a point, so that no locale matters */
    (void)snprintf(text, sizeof text, "%.*se%d", d->count, d->digits, d->point - d->count);
    return strtod(text, NULL) == value;
}

/* One step in the last digit, up or down. False when that would need another number of digits. */
static bool step(struct decimal *d, int by)
{
    for (int i = d->count - 1; i >= 0; i--) {
        if (by > 0 && d->digits[i] < '9') {
            d->digits[i]++;
            return true;
        }
        if (by < 0 && d->digits[i] > (i == 0 ? '1' : '0')) {
            d->digits[i]--;
            return true;
        }
        d->digits[i] = by > 0 ? '0' : '9';
    }
    return false;
}

/* Next to a power of two the doubles below are closer than those above, so that the nearest decimal may miss
 * where its neighbour on the wide side still reads back: 2^-44 is 5.684341886080802e-14. */
static bool neighbour_reads_back(struct decimal *d, double value)
{
    for (int by = -1; by <= 1; by += 2) {
        struct decimal next = *d;
        if (step(&next, by) && reads_back(&next, value)) {
            *d = next;
            return true;
        }
    }
    return false;
}

/* Fewest digits that read back, and of those the closest. `value` finite, > 0. */
static struct decimal shortest(double value)
{
    /* Up to DBL_DIG digits survive the way into a double and back, so that zeros can be cut from that many.
     * Subnormal numbers carry fewer. */
    int from = value < DBL_MIN ? 1 : DBL_DIG;
    struct decimal d = {0};
    for (int count = from; count <= DIGITS_MAX; count++) {
        d = round_to(value, count);
        if (reads_back(&d, value) || neighbour_reads_back(&d, value)) {
            break;
        }
    }
    while (d.count > 1 && d.digits[d.count - 1] == '0') {
        d.count--;
    }
    d.digits[d.count] = 0;
    return d;
}

bool es_canonical_number(double value, char out[static ES_CANONICAL_NUMBER_MAX])
{
    if (!isfinite(value)) {
        return false;
    }
    if (value == 0) { /* minus zero too */
        memcpy(out, "0", 2);
        return true;
    }
    const char *sign = value < 0 ? "-" : "";
    struct decimal d = shortest(fabs(value));
    int k = d.count;
    int n = d.point; /* k and n as in ECMA-262 */
    if (k <= n && n <= 21) {
        (void)snprintf(out, ES_CANONICAL_NUMBER_MAX, "%s%s%.*s", sign, d.digits, n - k,
                       "000000000000000000000");
    } else if (0 < n && n < k) {
        (void)snprintf(out, ES_CANONICAL_NUMBER_MAX, "%s%.*s.%s", sign, n, d.digits, d.digits + n);
    } else if (-6 < n && n <= 0) {
        (void)snprintf(out, ES_CANONICAL_NUMBER_MAX, "%s0.%.*s%s", sign, -n, "00000", d.digits);
    } else {
        (void)snprintf(out, ES_CANONICAL_NUMBER_MAX, "%s%c%s%se%+d", sign, d.digits[0], k > 1 ? "." : "",
                       d.digits + 1, n - 1);
    }
    return true;
}

/* ---- Strings and names ---- */

static enum es_status write_string(struct es_text *to, const char *s, struct es_error *err)
{
    static const char *const hex = "0123456789abcdef";
    static const char short_escape[32] = {
        ['\b'] = 'b', ['\t'] = 't', ['\n'] = 'n', ['\f'] = 'f', ['\r'] = 'r'};
    size_t left = strlen(s);
    es_text_char(to, '"');
    while (left > 0) {
        size_t size = es_utf8_next(s, left, NULL);
        if (size == 0) { /* a lone surrogate's three bytes end here as well */
            return es_fail(err, ES_BAD_INPUT, "a text is not valid UTF-8 and has no canonical form");
        }
        unsigned char c = (unsigned char)*s;
        if (c == '"' || c == '\\') {
            es_text_char(to, '\\');
            es_text_char(to, (char)c);
        } else if (c >= 0x20) {
            es_text_append(to, s, size);
        } else if (short_escape[c]) {
            es_text_char(to, '\\');
            es_text_char(to, short_escape[c]);
        } else {
            es_text_add(to, "\\u00");
            es_text_char(to, hex[c >> 4]);
            es_text_char(to, hex[c & 15]);
        }
        s += size;
        left -= size;
    }
    es_text_char(to, '"');
    return ES_OK;
}

/* First UTF-16 unit of a character, and below it the second: comparable as one number. */
static uint32_t utf16_rank(uint32_t code)
{
    if (code < 0x10000) {
        return code << 16;
    }
    code -= 0x10000;
    return (0xD800 + (code >> 10)) << 16 | (0xDC00 + (code & 0x3FF));
}

/* RFC 8785 3.2.3: by UTF-16 units, not by UTF-8 bytes. */
static int compare_names(const void *left, const void *right)
{
    const char *a = (*(const cJSON *const *)left)->string;
    const char *b = (*(const cJSON *const *)right)->string;
    while (*a && *b) {
        uint32_t code_a = 0;
        uint32_t code_b = 0;
        size_t size_a = es_utf8_next(a, strlen(a), &code_a);
        size_t size_b = es_utf8_next(b, strlen(b), &code_b);
        if (size_a == 0 || size_b == 0) { /* refused when written; any order will do here */
            return strcmp(a, b);
        }
        if (code_a != code_b) {
            return utf16_rank(code_a) < utf16_rank(code_b) ? -1 : 1;
        }
        a += size_a;
        b += size_b;
    }
    return (*a != 0) - (*b != 0);
}

/* ---- The tree ---- */

static enum es_status write_value(struct es_text *to, const cJSON *item, const char *skip, int depth,
                                  struct es_error *err);

static enum es_status write_array(struct es_text *to, const cJSON *array, int depth, struct es_error *err)
{
    es_text_char(to, '[');
    for (const cJSON *e = array->child; e; e = e->next) {
        enum es_status st = write_value(to, e, NULL, depth + 1, err);
        if (st != ES_OK) {
            return st;
        }
        if (e->next) {
            es_text_char(to, ',');
        }
    }
    es_text_char(to, ']');
    return ES_OK;
}

static enum es_status write_members(struct es_text *to, const cJSON **members, size_t count, int depth,
                                    struct es_error *err)
{
    for (size_t i = 0; i < count; i++) {
        if (i > 0 && strcmp(members[i]->string, members[i - 1]->string) == 0) {
            return es_fail(err, ES_BAD_INPUT, "the name \"%.80s\" stands twice in one object",
                           members[i]->string);
        }
        es_text_add(to, i > 0 ? "," : "");
        enum es_status st = write_string(to, members[i]->string, err);
        if (st != ES_OK) {
            return st;
        }
        es_text_char(to, ':');
        st = write_value(to, members[i], NULL, depth + 1, err);
        if (st != ES_OK) {
            return st;
        }
    }
    return ES_OK;
}

static enum es_status write_object(struct es_text *to, const cJSON *object, const char *skip, int depth,
                                   struct es_error *err)
{
    size_t all = 0;
    for (const cJSON *m = object->child; m; m = m->next) {
        all++;
    }
    const cJSON **members = calloc(all + 1, sizeof *members);
    if (!members) {
        return es_fail(err, ES_NO_MEMORY, "no memory for the canonical form");
    }
    size_t count = 0;
    for (const cJSON *m = object->child; m; m = m->next) {
        if (!m->string) {
            free(members);
            return es_fail(err, ES_INTERNAL, "an object holds a member without a name");
        }
        if (!skip || strcmp(m->string, skip) != 0) {
            members[count++] = m;
        }
    }
    qsort(members, count, sizeof *members, compare_names);
    es_text_char(to, '{');
    enum es_status st = write_members(to, members, count, depth, err);
    es_text_char(to, '}');
    free(members);
    return st;
}

static enum es_status write_value(struct es_text *to, const cJSON *item, const char *skip, int depth,
                                  struct es_error *err)
{
    if (depth > DEPTH_MAX) {
        return es_fail(err, ES_BAD_INPUT, "nested deeper than %d levels", DEPTH_MAX);
    }
    if (cJSON_IsObject(item)) {
        return write_object(to, item, skip, depth, err);
    }
    if (cJSON_IsArray(item)) {
        return write_array(to, item, depth, err);
    }
    if (cJSON_IsString(item)) {
        return write_string(to, item->valuestring, err);
    }
    if (cJSON_IsNumber(item)) {
        char number[ES_CANONICAL_NUMBER_MAX];
        if (!es_canonical_number(item->valuedouble, number)) {
            return es_fail(err, ES_BAD_INPUT, "a number is not finite and has no canonical form");
        }
        es_text_add(to, number);
        return ES_OK;
    }
    if (cJSON_IsBool(item) || cJSON_IsNull(item)) {
        es_text_add(to, cJSON_IsNull(item) ? "null" : cJSON_IsTrue(item) ? "true" : "false");
        return ES_OK;
    }
    return es_fail(err, ES_BAD_INPUT, "a value of unknown kind has no canonical form");
}

enum es_status es_canonical_write_without(const cJSON *root, const char *skip, char **out, size_t *length,
                                          struct es_error *err)
{
    struct es_text text = {0};
    enum es_status st = write_value(&text, root, skip, 0, err);
    size_t size = text.length;
    if (st == ES_OK) {
        st = es_text_take(&text, out, err);
    }
    if (st == ES_OK) {
        *length = size;
    }
    es_text_free(&text);
    return st;
}

enum es_status es_canonical_write(const cJSON *root, char **out, size_t *length, struct es_error *err)
{
    return es_canonical_write_without(root, NULL, out, length, err);
}
