/* The bench file's reader: no crash, no leak, and a faultless bench keeps its promises. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "rig/bench/bench.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_channel(const struct es_bench_channel *c)
{
    double value, raw;
    static const double raws[] = {0, 1, -1, 4000, 65535, 1e9};
    for (size_t i = 0; i < sizeof raws / sizeof raws[0]; i++) {
        enum es_quality q = es_channel_value(c, (struct es_raw){raws[i], true}, &value);
        if (q == ES_GOOD && (!isfinite(value) || value < c->plausible_low || value > c->plausible_high)) {
            abort();
        }
        if (q == ES_GOOD) {
            (void)!es_channel_raw(c, value, &raw, NULL);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_findings f = {0};
    struct es_error err;
    struct es_document *doc;
    struct es_bench *bench;
    if (es_document_parse("fuzz.json", (const char *)data, size, &f, &doc, &err) == ES_OK) {
        if (es_bench_from_document(doc, &f, &bench, &err) == ES_OK) {
            for (size_t s = 0; s < bench->station_count; s++) {
                for (size_t i = 0; i < bench->stations[s].channel_count; i++) {
                    check_channel(&bench->stations[s].channels[i]);
                }
            }
            es_bench_free(bench);
        } else if (!f.count && !f.out_of_memory) {
            abort(); /* refused without a word */
        }
        es_document_free(doc);
    }
    es_findings_free(&f);
    return 0;
}
