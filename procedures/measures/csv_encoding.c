#include "procedures/measures/csv_encoding.h"

#include <stdlib.h>
#include <string.h>

#define REPLACEMENT 0xfffdu

bool es_csv_is_utf16(const char *text, size_t length)
{
    return length >= 2 && (memcmp(text, "\xff\xfe", 2) == 0 || memcmp(text, "\xfe\xff", 2) == 0);
}

/* RFC 3629, 3. */
static size_t put(char *out, unsigned c)
{
    size_t n = c < 0x80 ? 1 : c < 0x800 ? 2 : c < 0x10000 ? 3 : 4;
    static const unsigned char lead[] = {0, 0, 0xc0, 0xe0, 0xf0};
    for (size_t i = n; i > 1; i--, c >>= 6)
        out[i - 1] = (char)(0x80 | (c & 0x3f));
    out[0] = (char)(lead[n] | c);
    return n;
}

static unsigned unit_at(const char *text, size_t i, bool little)
{
    unsigned a = (unsigned char)text[2 * i], b = (unsigned char)text[2 * i + 1];
    return little ? a | b << 8 : a << 8 | b;
}

/* RFC 2781, 2.2. */
char *es_csv_utf8_from_utf16(const char *text, size_t length, size_t *out_length)
{
    bool little = text[0] == '\xff';
    size_t units = length / 2, used = 0;
    char *out = malloc(units * 3 + 4);
    for (size_t i = 1; out != NULL && i < units; i++) {
        unsigned c = unit_at(text, i, little);
        unsigned next = i + 1 < units ? unit_at(text, i + 1, little) : 0;
        if (c >= 0xd800 && c < 0xdc00 && next >= 0xdc00 && next < 0xe000) {
            c = 0x10000 + ((c - 0xd800) << 10) + (next - 0xdc00);
            i++;
        } else if (c >= 0xd800 && c < 0xe000) {
            c = REPLACEMENT;
        }
        used += put(out + used, c);
    }
    if (out != NULL && length % 2 != 0)
        used += put(out + used, REPLACEMENT);
    *out_length = used;
    return out;
}
