/* From the last sample to the durable certificate, and to the sealed one, against the disk's own fsync.
 * Aim: durable at most twice fsync plus 20 ms. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "rig/base/clock.h"
#include "tests/support/archive/visits.h"

#define ROUNDS 60

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *times)
{
    qsort(times, ROUNDS, sizeof *times, by_size);
    return times[ROUNDS / 2];
}

int main(void)
{
    static const char bytes[24000] = {0};
    double sync[ROUNDS], durable[ROUNDS], sealed[ROUNDS];
    struct visits v;
    char path[128];
    visits_open(&v);
    for (int i = 0; i < ROUNDS; i++) {
        char number[ES_STORE_NUMBER_MAX];
        (void)snprintf(path, sizeof path, "%s/sync-%d", v.folder, i);
        int fd = open(path, O_WRONLY | O_CREAT, 0600);
        if (fd < 0 || write(fd, bytes, sizeof bytes) != (ssize_t)sizeof bytes) {
            return 3;
        }
        es_time start = es_clock_now();
        if (fsync(fd) != 0) {
            return 3;
        }
        sync[i] = es_seconds(es_clock_now() - start);
        (void)close(fd);
        start = es_clock_now();
        if (visits_issue(&v, &(struct visit){.serial = "EX-1"}, number) != ES_OK) {
            return 3;
        }
        durable[i] = es_seconds(es_clock_now() - start);
        if (es_store_seal(v.store, v.key, number, "2026-02-03T10:06:00.000Z", NULL) != ES_OK) {
            return 3;
        }
        sealed[i] = es_seconds(es_clock_now() - start);
    }
    double s = median(sync), d = median(durable);
    printf("median of %d: fsync %.2f ms; outcome to durable certificate %.2f ms (aim %.2f ms: %s); to the "
           "sealed one %.2f "
           "ms\n",
           ROUNDS, s * 1e3, d * 1e3, 2 * s * 1e3 + 20, d <= 2 * s + 0.020 ? "kept" : "MISSED",
           median(sealed) * 1e3);
    visits_close(&v);
    return d > 2 * s + 0.020;
}
