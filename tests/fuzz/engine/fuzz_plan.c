/* Any bytes as a plan file in a folder of its own: refused with findings, or read. A plan must not reach
 * outside its folder. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "procedures/engine/plan.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct es_findings f = {0};
    struct es_error err;
    struct es_plan *plan = NULL;
    char path[] = "/tmp/fuzz-plan-XXXXXX";
    const int fd = mkstemp(path);

    if (fd < 0)
        return 0;
    const ssize_t n = write(fd, data, size);
    (void)close(fd);
    if (n == (ssize_t)size) {
        const enum es_status s = es_plan_load_any(path, &f, &plan, &err);
        if ((s == ES_OK) != (f.count == 0) && s != ES_NO_MEMORY) {
            (void)fprintf(stderr, "neither read nor refused with findings: %d\n", (int)s);
            abort();
        }
        es_plan_free(plan);
    }
    es_findings_free(&f);
    (void)unlink(path);
    return 0;
}
