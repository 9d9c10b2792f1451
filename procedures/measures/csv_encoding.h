/* UTF-16 with its byte order mark, as spreadsheets save "Unicode text", to UTF-8. Pure. */
#ifndef ES_MEASURES_CSV_ENCODING_H
#define ES_MEASURES_CSV_ENCODING_H

#include <stdbool.h>
#include <stddef.h>

/* Begins with the byte order mark of UTF-16, of either order. */
bool es_csv_is_utf16(const char *text, size_t length);

/* The caller's (free), without the mark; *out_length bytes. What stands alone of a pair, and an odd last
 * byte, becomes U+FFFD. NULL when out of memory. */
char *es_csv_utf8_from_utf16(const char *text, size_t length, size_t *out_length);

#endif
