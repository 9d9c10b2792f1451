/* A text instrument's answer against a pattern: input is "pattern NUL answer". */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/line/pattern.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const uint8_t *end = memchr(data, 0, size);
    size_t length = end ? (size_t)(end - data) : size;
    size_t rest = end ? size - length - 1 : 0;
    char *pattern = malloc(length + 1),
         *text = malloc(rest ? rest : 1); /* exact sizes: the sanitizer sees each byte */
    if (!pattern || !text)
        abort();
    memcpy(pattern, data, length);
    pattern[length] = '\0';
    if (rest)
        memcpy(text, end + 1, rest);
    struct es_raw raw = {0, false};
    bool good = es_pattern_fault(pattern, 1) == NULL;
    bool matches = es_pattern_match(pattern, text, rest, &raw);
    if (matches && raw.valid && raw.value != raw.value)
        abort();
    char out[256];
    if (es_pattern_fill(pattern, 1, 3, out, sizeof out) && strlen(out) >= sizeof out)
        abort();
    /* A good pattern of a plain number takes what it wrote itself. */
    if (good && !strstr(pattern, "{any}") && !strstr(pattern, "{state}") &&
        es_pattern_fill(pattern, 1, 0, out, sizeof out))
        (void)es_pattern_match(pattern, out, strlen(out), &raw);
    free(pattern);
    free(text);
    return 0;
}
