/* Any text as a quantity: what is taken is finite, and what is printed of it can be read again. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/quantity.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds, const char *what)
{
    if (holds)
        return;
    (void)fprintf(stderr, "does not hold: %s\n", what);
    abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char text[256], printed[512];
    struct es_quantity q = {0}, again = {0};
    struct es_error err = {0};

    if (size >= sizeof text)
        return 0;
    memcpy(text, data, size);
    text[size] = '\0';
    if (es_quantity_parse(text, &q, &err) != ES_OK) {
        demand(err.text[0] != '\0', "a refusal has a reason");
        return 0;
    }
    demand(isfinite(q.value) && q.unit != NULL && q.decimals >= 0, "a good quantity");
    size_t n = es_quantity_format(q.value, q.unit, q.decimals, printed, sizeof printed);
    demand(n < sizeof printed, "printed text fits");
    demand(es_quantity_parse_as(printed, q.unit->dimension, &again, NULL) == ES_OK, "can be read again");
    demand(again.unit == q.unit, "the unit stays");
    for (int d = 0; d < ES_DIM_COUNT; d++)
        (void)!es_quantity_parse_as(text, (enum es_dimension)d, &again, &err);
    return 0;
}
