#include <ctype.h>
#include <langinfo.h>
#include <locale.h>
#include <string.h>
#include <wchar.h>

#include "rig/base/quantity.h"
#include "rig/base/text.h"
#include "rig/console/display.h"

bool es_display_start(void)
{
    bool utf8 = setlocale(LC_CTYPE, "") != NULL && strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    if (!utf8)
        (void)setlocale(LC_CTYPE, "C.UTF-8"); /* failing that, widths count bytes */
    return utf8;
}

/* Next character: bytes taken (at least 1 while *text), and its width. */
static size_t next_char(const char *text, size_t *width)
{
    mbstate_t state;
    memset(&state, 0, sizeof state);
    wchar_t wide = 0;
    size_t taken = mbrtowc(&wide, text, strlen(text), &state);
    if (taken == 0 || taken == (size_t)-1 || taken == (size_t)-2) {
        *width = 1;
        return 1;
    }
    int columns = wcwidth(wide);
    *width = columns < 0 ? 1 : (size_t)columns;
    return taken;
}

size_t es_display_width(const char *text)
{
    size_t sum = 0;
    while (*text != '\0') {
        size_t width;
        text += next_char(text, &width);
        sum += width;
    }
    return sum;
}

size_t es_display_fit(const char *text, size_t columns, size_t *width)
{
    size_t bytes = 0, used = 0;
    while (text[bytes] != '\0') {
        size_t w;
        size_t taken = next_char(text + bytes, &w);
        if (used + w > columns)
            break;
        bytes += taken;
        used += w;
    }
    if (width != NULL)
        *width = used;
    return bytes;
}

/* Between the parts of a word like "single-acting"; not in "-0.3" or "2026-03-01". */
static bool after_hyphen(const char *text, size_t at)
{
    return at > 1 && text[at - 1] == '-' && isalpha((unsigned char)text[at - 2]) != 0 &&
           isalpha((unsigned char)text[at]) != 0;
}

/* Where a line of at most `fits` bytes ends; 0: no place to break. */
static size_t last_break(const char *text, size_t fits, bool with_units)
{
    size_t end = fits;
    while (end > 0 &&
           ((text[end] != ' ' && !after_hyphen(text, end)) || (with_units && es_unit_belongs(text, end))))
        end--;
    return end;
}

size_t es_display_line(const char *text, size_t columns, size_t *next)
{
    size_t paragraph = strcspn(text, "\n");
    size_t fits = es_display_fit(text, columns > 0 ? columns : 1, NULL);
    if (fits >= paragraph) {
        *next = paragraph + (text[paragraph] == '\n');
        return paragraph;
    }
    size_t end = last_break(text, fits, true);
    if (end == 0)
        end = last_break(text, fits, false);
    if (end == 0) { /* one long word: cut it, but always move on by one character */
        size_t width;
        end = fits > 0 ? fits : next_char(text, &width);
        *next = end;
        return end;
    }
    *next = end;
    while (text[*next] == ' ')
        ++*next;
    while (end > 0 && text[end - 1] == ' ')
        end--;
    return end;
}

void es_display_wrap_after(const char *text, size_t first, size_t indent, size_t width, FILE *to)
{
    size_t used = first;
    do {
        size_t next, columns = width > used + 20 ? width - used : 20;
        size_t bytes = es_display_line(text, columns, &next);
        fprintf(to, "%.*s\n", (int)bytes, text);
        text += next;
        used = indent;
        if (*text != '\0')
            fprintf(to, "%*s", (int)indent, "");
    } while (*text != '\0');
}

void es_display_wrap(const char *text, size_t indent, size_t width, FILE *to)
{
    es_display_wrap_after(text, indent, indent, width, to);
}

void es_display_sentence(size_t width, FILE *to, const char *format, va_list args)
{
    struct es_text text = {0}, clean = {0};
    es_text_vprintf(&text, format, args);
    if (text.bytes != NULL)
        es_text_visible(&clean, text.bytes, text.length);
    if (clean.bytes != NULL)
        es_display_wrap(clean.bytes, 0, width, to);
    es_text_free(&clean);
    es_text_free(&text);
}

void es_display_named(const char *left, const char *meaning, size_t indent, size_t column, size_t width,
                      FILE *to)
{
    size_t used = indent + es_display_width(left);
    fprintf(to, "%*s%s", (int)indent, "", left);
    if (used + 2 > column) {
        fputc('\n', to);
        used = 0;
    }
    fprintf(to, "%*s", (int)(column - used), "");
    es_display_wrap(meaning, column, width, to);
}

void es_display_lines(const char *text, FILE *to)
{
    while (*text != '\0') {
        const size_t length = strcspn(text, "\n");
        struct es_text clean = {0};
        es_text_visible(&clean, text, length);
        fprintf(to, "%s\n", clean.bytes != NULL ? clean.bytes : "");
        es_text_free(&clean);
        text += length + (text[length] == '\n');
    }
}
