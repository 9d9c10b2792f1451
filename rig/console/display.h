/* Text for a terminal: widths and wrapping. Text from outside is first made harmless with es_text_visible
 * (rig/base/text.h). Widths follow the process's LC_CTYPE, which main sets
 * to a UTF-8 locale with es_display_start. Thread-safe after that. */
#ifndef ES_CONSOLE_DISPLAY_H
#define ES_CONSOLE_DISPLAY_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "rig/base/error.h"

/* Called once by main before any other thread: sets LC_CTYPE so that widths of UTF-8 are known. Returns
 * whether the user's own locale shows UTF-8 (else print ASCII only where there is a choice). */
bool es_display_start(void);

/* Columns that the text takes on a terminal: combining marks 0, wide characters 2; a byte that is not
 * UTF-8 counts 1. */
size_t es_display_width(const char *text);

/* Number of leading bytes of `text` that fit into `columns`; *width (may be NULL) tells their width. Never
 * cuts a character. */
size_t es_display_fit(const char *text, size_t columns, size_t *width);

/* Prints `text` broken at spaces to `width` columns; lines after the first are indented by `indent`
 * columns, and the first is taken to start there. '\n' in the text breaks a line. Ends with '\n'. */
void es_display_wrap(const char *text, size_t indent, size_t width, FILE *to);

/* The same where `first` columns of the first line are used up already. */
void es_display_wrap_after(const char *text, size_t first, size_t indent, size_t width, FILE *to);

/* A sentence of our own with words from outside in it, made harmless (es_text_visible) and wrapped. */
void es_display_sentence(size_t width, FILE *to, const char *format, va_list args) ES_PRINTF(3, 0);

/* `left` after `indent` columns, and from `column` on what it means; below it where it is long. */
void es_display_named(const char *left, const char *meaning, size_t indent, size_t column, size_t width,
                      FILE *to);

/* Prints text from outside as it is laid out, each line made harmless (es_text_visible). */
void es_display_lines(const char *text, FILE *to);

/* One line of a paragraph: bytes to print of `text` within `columns`; *next is where the following line
 * starts (at the terminator: done). Used by wrapping and tables alike. */
size_t es_display_line(const char *text, size_t columns, size_t *next);

#endif
