/* A line of a byte trace. What is accepted is written again and read the same. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/transport/trace_text.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct es_trace_event first, second;
    static char text[3 * ES_TRACE_BYTES + 64];
    struct es_error err;
    if (es_trace_parse((const char *)data, size, &first, &err) != ES_OK || first.kind == ES_TRACE_REMARK)
        return 0;
    size_t n = es_trace_format(first.kind, first.time, first.bytes, first.count, text, sizeof text);
    if (es_trace_parse(text, n - 1, &second, &err) != ES_OK || second.kind != first.kind ||
        second.count != first.count || memcmp(second.bytes, first.bytes, first.count) != 0)
        abort();
    return 0;
}
