/* Reading a journal: whatever a crash or a stranger left of it, no crash, no leak, only sound records. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

#include "rig/bench/journal.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static enum es_status visit(void *self, const struct es_journal_record *r, struct es_error *err)
{
    (void)self;
    (void)err;
    for (size_t i = 0; i < r->count; i++) {
        if (r->values && (r->values[i].role >= ES_ROLE_COUNT || r->values[i].quality > ES_FAILED)) {
            abort();
        }
        if (r->roles && r->roles[i] >= ES_ROLE_COUNT) {
            abort();
        }
    }
    return ES_OK;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char path[64];
    struct es_error err;
    bool damaged;
    size_t whole;
    int fd = memfd_create("journal", 0);
    if (fd < 0) {
        return 0;
    }
    if (write(fd, data, size) == (ssize_t)size) {
        snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
        if (es_journal_read(NULL, path, visit, NULL, &damaged, &whole, &err) == ES_OK && whole > size) {
            abort();
        }
    }
    close(fd);
    return 0;
}
