/* A growing text with a sticky "out of memory", and the few text helpers that several parts share.
 * Owner: the caller. One thread at a time. Start with `struct es_text t = {0};`. */
#ifndef ES_BASE_TEXT_H
#define ES_BASE_TEXT_H

#include <stdarg.h>
#include <stdint.h>

#include "rig/base/error.h"

struct es_text {
    char *bytes; /* NUL-terminated once anything was added; else NULL */
    size_t length;
    size_t capacity;
    bool out_of_memory; /* sticky: something could not be added; what stands there is not whole */
};

void es_text_free(struct es_text *t);  /* leaves *t empty and reusable */
void es_text_reset(struct es_text *t); /* empties, keeps the memory; clears out_of_memory */

void es_text_append(struct es_text *t, const void *bytes, size_t length);
void es_text_add(struct es_text *t, const char *string);
void es_text_char(struct es_text *t, char c);
void es_text_printf(struct es_text *t, const char *format, ...) ES_PRINTF(2, 3);
void es_text_vprintf(struct es_text *t, const char *format, va_list args) ES_PRINTF(2, 0);

/* Adds text from outside so that it can be shown on a terminal or in a log: control characters, marks that
 * turn the direction of writing, and bytes that are not UTF-8 come out as \xNN or \u{NNNN}. */
void es_text_visible(struct es_text *t, const char *bytes, size_t length);

/* ES_OK for what names something in one line: some UTF-8 text without the characters that es_text_visible
 * escapes, and no blank at either end. Else ES_USAGE, with `what` ("the serial number") before the fault. */
enum es_status es_text_check_line(const char *what, const char *text, struct es_error *err) ES_MUST_CHECK;

/* Adds a JSON string with its quotes (RFC 8259 section 7). `string` is UTF-8; wrong bytes become U+FFFD. */
void es_text_json(struct es_text *t, const char *string);

/* Base64url without padding (RFC 4648 section 5, as RFC 7515 uses it). */
void es_text_base64url(struct es_text *t, const void *bytes, size_t length);

/* Hands the bytes over (caller frees) and leaves *t empty. Never NULL on ES_OK. */
enum es_status es_text_take(struct es_text *t, char **out, struct es_error *err) ES_MUST_CHECK;

/* ES_OK, or ES_NO_MEMORY when something could not be added. */
enum es_status es_text_status(const struct es_text *t, struct es_error *err) ES_MUST_CHECK;

/* Strict decoder: no padding, no white space, no stray low bits. Fails with ES_BAD_INPUT. Writes at most
 * `size` bytes. */
enum es_status es_base64url_decode(const char *text, size_t length, void *out, size_t size, size_t *written,
                                   struct es_error *err) ES_MUST_CHECK;

/* Lower-case hex with terminator: 2 * length + 1 bytes. */
void es_hex(const void *bytes, size_t length, char *out);
/* Exactly `size` bytes from 2 * size hex digits, either case. */
enum es_status es_hex_decode(const char *text, void *out, size_t size, struct es_error *err) ES_MUST_CHECK;

/* Length in bytes (1..4) of the UTF-8 character at `bytes`, 0 when it is not one (RFC 3629: no overlong form,
 * no surrogate, at most U+10FFFF). `code` may be NULL. */
size_t es_utf8_next(const char *bytes, size_t left, uint32_t *code);
/* Characters in a string: bytes that do not continue one. */
size_t es_utf8_count(const char *string);

#endif
