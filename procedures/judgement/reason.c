#include "procedures/judgement/reason.h"

#include <stdbool.h>
#include <string.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' || (c & 0x80);
}

/* Length of the number at `text`; 0 when there is none. "T63" and "output 1" keep their digits: they name. */
static size_t number(const char *text, const char *start)
{
    size_t n = *text == '-' || *text == '+';
    if (!is_digit(text[n]) || (text > start && (is_letter(text[-1]) || is_digit(text[-1])))) {
        return 0;
    }
    while (is_digit(text[n]) || (text[n] == '.' && is_digit(text[n + 1]))) {
        n++;
    }
    if ((text[n] == 'e' || text[n] == 'E') &&
        (is_digit(text[n + 1]) || ((text[n + 1] == '-' || text[n + 1] == '+') && is_digit(text[n + 2])))) {
        n += 2;
        while (is_digit(text[n])) {
            n++;
        }
    }
    return n;
}

static bool names_output(const char *text, const char *start)
{
    static const char word[] = "output ";
    const size_t length = sizeof word - 1;
    return (size_t)(text - start) >= length && !memcmp(text - length, word, length);
}

void es_reason_kind(const char *reason, char out[static ES_REASON_KIND])
{
    static const char step[] = "step # of #: ";
    size_t used = 0;
    reason = reason ? reason : "";
    for (const char *c = reason; *c && used < ES_REASON_KIND - 1;) {
        const size_t skip = names_output(c, reason) ? 0 : number(c, reason);
        out[used++] = skip ? '#' : *c;
        c += skip ? skip : 1;
    }
    while (used > 0 && used == ES_REASON_KIND - 1 && ((unsigned char)out[used - 1] & 0xC0) == 0x80) {
        used--;
    }
    if (used == ES_REASON_KIND - 1 && ((unsigned char)out[used - 1] & 0x80)) {
        used--;
    }
    out[used] = 0;
    if (!strncmp(out, step, sizeof step - 1)) {
        memmove(out, out + sizeof step - 1, used - (sizeof step - 1) + 1);
    }
}
