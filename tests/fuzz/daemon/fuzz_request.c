/* Any bytes as a request line: refused with a reply that is one line, or read into members within bounds. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/daemon/protocol.h"

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
    struct es_request_line r;
    struct es_error err = {0};
    enum es_status s = es_request_parse((const char *)data, size, &r, &err);
    demand(r.id >= 0, "id is not negative");
    if (s == ES_OK) {
        demand(r.what >= 0 && r.what < ES_DO_COUNT, "kind is known");
        demand(r.what != ES_DO_RUN || (r.plan && r.type && r.serial && r.station && r.state),
               "a run is whole");
    } else {
        struct es_text out = {0};
        demand(err.text[0] != '\0', "a refusal says why");
        es_reply_error(&out, r.id, &err);
        demand(out.bytes != NULL && strchr(out.bytes, '\n') == NULL, "the reply is one line");
        es_text_free(&out);
    }
    es_request_free(&r);
    return 0;
}
