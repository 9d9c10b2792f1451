#include "rig/base/text.h"

#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIRST_ROOM 128u

void es_text_free(struct es_text *t)
{
    free(t->bytes);
    *t = (struct es_text){0};
}

void es_text_reset(struct es_text *t)
{
    t->length = 0;
    t->out_of_memory = false;
    if (t->bytes != NULL)
        t->bytes[0] = '\0';
}

/* Room for `more` bytes and the terminator. */
static bool reserve(struct es_text *t, size_t more)
{
    if (t->out_of_memory)
        return false;
    if (more >= SIZE_MAX / 2 - t->length) {
        t->out_of_memory = true;
        return false;
    }
    size_t need = t->length + more + 1;
    if (need <= t->capacity)
        return true;
    size_t room = t->capacity < FIRST_ROOM ? FIRST_ROOM : t->capacity * 2;
    if (room < need)
        room = need;
    char *bytes = realloc(t->bytes, room);
    if (bytes == NULL) {
        t->out_of_memory = true;
        return false;
    }
    t->bytes = bytes;
    t->capacity = room;
    return true;
}

void es_text_append(struct es_text *t, const void *bytes, size_t length)
{
    if (!reserve(t, length))
        return;
    if (length > 0)
        memcpy(t->bytes + t->length, bytes, length);
    t->length += length;
    t->bytes[t->length] = '\0';
}

void es_text_add(struct es_text *t, const char *string)
{
    es_text_append(t, string, strlen(string));
}

void es_text_char(struct es_text *t, char c)
{
    es_text_append(t, &c, 1);
}

void es_text_vprintf(struct es_text *t, const char *format, va_list args)
{
    va_list again;

    va_copy(again, args);
    int n = vsnprintf(NULL, 0, format, again);
    va_end(again);
    if (n < 0 || !reserve(t, (size_t)n)) {
        t->out_of_memory = true;
        return;
    }
    (void)vsnprintf(t->bytes + t->length, (size_t)n + 1, format, args);
    t->length += (size_t)n;
}

void es_text_printf(struct es_text *t, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    es_text_vprintf(t, format, args);
    va_end(args);
}

/* Characters that change what a person sees elsewhere: C0, DEL, C1, line separators, direction marks. */
static bool is_hidden(uint32_t code)
{
    return code < 0x20 || (code >= 0x7F && code < 0xA0) || code == 0x061C || code == 0xFEFF ||
           (code >= 0x200B && code <= 0x200F) || (code >= 0x2028 && code <= 0x202E) ||
           (code >= 0x2060 && code <= 0x206F);
}

void es_text_visible(struct es_text *t, const char *bytes, size_t length)
{
    size_t at = 0;

    while (at < length) {
        uint32_t code = 0;
        size_t n = es_utf8_next(bytes + at, length - at, &code);
        if (n == 0) {
            es_text_printf(t, "\\x%02X", (unsigned)(unsigned char)bytes[at]);
            n = 1;
        } else if (code == '\n') {
            es_text_add(t, "\\n");
        } else if (code == '\t') {
            es_text_add(t, "\\t");
        } else if (code == '\r') {
            es_text_add(t, "\\r");
        } else if (is_hidden(code)) {
            es_text_printf(t, "\\u{%04X}", (unsigned)code);
        } else {
            es_text_append(t, bytes + at, n);
        }
        at += n;
    }
}

enum es_status es_text_check_line(const char *what, const char *text, struct es_error *err)
{
    const size_t length = strlen(text);
    size_t count = 0;
    if (length == 0)
        return es_fail(err, ES_USAGE, "%s is empty", what);
    for (size_t at = 0, n; at < length; at += n, count++) {
        uint32_t code = 0;
        n = es_utf8_next(text + at, length - at, &code);
        if (n == 0)
            return es_fail(err, ES_USAGE,
                           "%s has the byte 0x%02X, which is no UTF-8 text, after %zu characters", what,
                           (unsigned)(unsigned char)text[at], count);
        if (is_hidden(code))
            return es_fail(err, ES_USAGE,
                           "%s has a character that nobody can see (U+%04X) after %zu characters: type it "
                           "anew, or have the bar-code reader send plain text",
                           what, (unsigned)code, count);
    }
    if (text[0] == ' ' || text[length - 1] == ' ')
        return es_fail(err, ES_USAGE, "%s begins or ends with a blank", what);
    return ES_OK;
}

static void json_char(struct es_text *t, const char *bytes, size_t n, uint32_t code)
{
    static const char named[] = "\"\\\b\f\n\r\t";
    static const char letters[] = "\"\\bfnrt";
    const char *hit = code != 0 && code < 0x80 ? strchr(named, (int)code) : NULL;

    if (hit != NULL) {
        es_text_char(t, '\\');
        es_text_char(t, letters[hit - named]);
    } else if (code < 0x20) {
        es_text_printf(t, "\\u%04x", (unsigned)code);
    } else {
        es_text_append(t, bytes, n);
    }
}

void es_text_json(struct es_text *t, const char *string)
{
    size_t left = strlen(string);

    es_text_char(t, '"');
    while (left > 0) {
        uint32_t code = 0;
        size_t n = es_utf8_next(string, left, &code);
        if (n == 0) {
            es_text_add(t, "\xEF\xBF\xBD");
            n = 1;
        } else {
            json_char(t, string, n, code);
        }
        string += n;
        left -= n;
    }
    es_text_char(t, '"');
}

void es_text_base64url(struct es_text *t, const void *bytes, size_t length)
{
    if (length > SIZE_MAX / 8) {
        t->out_of_memory = true;
        return;
    }
    size_t room = sodium_base64_ENCODED_LEN(length, sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    if (!reserve(t, room))
        return;
    (void)sodium_bin2base64(t->bytes + t->length, room, bytes, length,
                            sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    t->length += strlen(t->bytes + t->length);
}

enum es_status es_text_status(const struct es_text *t, struct es_error *err)
{
    return t->out_of_memory ? es_fail(err, ES_NO_MEMORY, "out of memory") : ES_OK;
}

enum es_status es_text_take(struct es_text *t, char **out, struct es_error *err)
{
    es_text_append(t, "", 0);
    enum es_status status = es_text_status(t, err);

    if (status == ES_OK) {
        *out = t->bytes;
        *t = (struct es_text){0};
    }
    return status;
}

enum es_status es_base64url_decode(const char *text, size_t length, void *out, size_t size, size_t *written,
                                   struct es_error *err)
{
    const char *end = NULL;

    if (sodium_base642bin(out, size, text, length, NULL, written, &end,
                          sodium_base64_VARIANT_URLSAFE_NO_PADDING) != 0 ||
        end != text + length)
        return es_fail(err, ES_BAD_INPUT, "not base64url without padding, or longer than expected");
    return ES_OK;
}

void es_hex(const void *bytes, size_t length, char *out)
{
    (void)sodium_bin2hex(out, length * 2 + 1, bytes, length);
}

enum es_status es_hex_decode(const char *text, void *out, size_t size, struct es_error *err)
{
    size_t written = 0;
    const char *end = NULL;

    if (strlen(text) != size * 2 || sodium_hex2bin(out, size, text, size * 2, NULL, &written, &end) != 0 ||
        written != size)
        return es_fail(err, ES_BAD_INPUT, "expected %zu hex digits", size * 2);
    return ES_OK;
}

size_t es_utf8_next(const char *bytes, size_t left, uint32_t *code)
{
    static const uint32_t smallest[] = {0, 0, 0x80, 0x800, 0x10000};
    const unsigned char *p = (const unsigned char *)bytes;
    size_t n;
    uint32_t c;

    if (left == 0)
        return 0;
    if (p[0] < 0x80)
        n = 1, c = p[0];
    else if (p[0] >= 0xC2 && p[0] < 0xE0)
        n = 2, c = p[0] & 0x1Fu;
    else if (p[0] >= 0xE0 && p[0] < 0xF0)
        n = 3, c = p[0] & 0x0Fu;
    else if (p[0] >= 0xF0 && p[0] < 0xF5)
        n = 4, c = p[0] & 0x07u;
    else
        return 0;
    if (n > left)
        return 0;
    for (size_t i = 1; i < n; i++) {
        if ((p[i] & 0xC0u) != 0x80u)
            return 0;
        c = (c << 6) | (p[i] & 0x3Fu);
    }
    if (c < smallest[n] || c > 0x10FFFF || (c >= 0xD800 && c <= 0xDFFF))
        return 0;
    if (code != NULL)
        *code = c;
    return n;
}

size_t es_utf8_count(const char *string)
{
    size_t count = 0;

    for (; *string != '\0'; string++)
        count += ((unsigned char)*string & 0xC0u) != 0x80u;
    return count;
}
