/* Any bytes as a run's inputs, kept under their digest as a run keeps them: read, or refused with a reason.
 * The plan and type sheet that they name are not there. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/digest.h"
#include "rig/bench/run_inputs.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static char folder[] = "/tmp/es-fuzz-inputs-XXXXXX";

static void leave(void)
{
    (void)rmdir(folder);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static int ready;
    struct es_run_inputs inputs;
    struct es_error err = {0};
    char digest[65], path[160];
    if (!ready) {
        if (!mkdtemp(folder)) {
            abort();
        }
        (void)atexit(leave);
        ready = 1;
    }
    es_digest_hex(data, size, digest);
    (void)snprintf(path, sizeof path, "%s/%s.json", folder, digest);
    FILE *to = fopen(path, "w");
    if (!to || fwrite(data, 1, size, to) != size || fclose(to) != 0) {
        abort();
    }
    enum es_status st = es_run_inputs_read(folder, digest, &inputs, &err);
    (void)unlink(path);
    if (st == ES_OK) {
        es_run_inputs_free(&inputs);
    } else if (!err.text[0]) {
        abort();
    }
    return 0;
}
