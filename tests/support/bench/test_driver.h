/* A driver for tests of rig/bench: a real struct es_driver over instruments that exist in memory only and
 * misbehave on command. The bus setting "script" names the script that the test has made. */
#ifndef ES_TESTS_TEST_DRIVER_H
#define ES_TESTS_TEST_DRIVER_H

#include <pthread.h>

#include "drivers/driver.h"

#define TEST_INSTRUMENTS 4
#define TEST_REGISTERS   64
#define TEST_WRITES      4096

struct test_write {
    size_t instrument;
    long reg;
    double raw;
    es_time at;
    bool refused;
};

struct test_script {
    char name[32];
    pthread_mutex_t lock; /* guards all below */
    double registers[TEST_INSTRUMENTS][TEST_REGISTERS];
    bool invalid[TEST_INSTRUMENTS][TEST_REGISTERS];
    bool silent[TEST_INSTRUMENTS]; /* time-outs, after the instrument's timeout */
    bool refuses_writes[TEST_INSTRUMENTS];
    bool ignores_writes[TEST_INSTRUMENTS]; /* acknowledges, does nothing */
    bool gone;                             /* hang-up at every exchange and at open */
    double delay;                          /* s, of each exchange */
    char identity[TEST_INSTRUMENTS][64];
    /* Writes to register r also show, scaled by 1, in register follow[r] - 1. */
    long follow[TEST_INSTRUMENTS][TEST_REGISTERS];
    struct test_write writes[TEST_WRITES];
    size_t write_count;
    unsigned opens, closes, settles, probes, reads;
    bool in_call; /* to see that no two calls overlap */
    unsigned overlaps;
};

/* Adds a script under a name; until test_script_free. */
struct test_script *test_script_new(const char *name);
void test_script_free(struct test_script *script);

void test_set(struct test_script *script, size_t instrument, long reg, double raw);
double test_get(struct test_script *script, size_t instrument, long reg);

extern const struct es_driver test_driver;

#endif
