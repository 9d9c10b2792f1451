/* A bench in memory behind a port: simple lags in virtual time, a script of answers, a log of what was
 * written, and any call made to fail. Nothing of rig/ above base. */
#ifndef TESTS_ENGINE_FAKE_BENCH_H
#define TESTS_ENGINE_FAKE_BENCH_H

#include "procedures/engine/check.h"
#include "procedures/engine/execute.h"
#include "procedures/engine/port.h"
#include "procedures/judgement/type_sheet.h"

#define FAKE_WRITES_MAX   65536
#define FAKE_ANSWERS_MAX  16
#define FAKE_RECORDS_MAX  8
#define FAKE_SAMPLES_MAX  20000
#define FAKE_COMMANDS_MAX 64

struct fake_write {
    enum es_role role;
    double value;
    double t; /* s */
};

struct fake_recording {
    bool used;
    char name[80];
    enum es_role roles[16];
    size_t role_count;
    double began, next, interval;
    size_t count;
    double *t, *y; /* y: count * role_count */
    struct es_command commands[FAKE_COMMANDS_MAX];
    size_t command_count;
};

/* What happens to one role's samples in a recording, from one time to another. */
struct fake_trouble {
    const char *recording; /* NULL: none */
    enum es_role role;
    double from, to; /* s of the recording */
    bool silent;     /* no samples */
    enum es_quality quality;
    double value; /* when good */
};

struct fake_bench {
    struct es_port port;
    struct es_station_view view;
    const struct es_type *type;

    double now; /* s */
    double out[ES_ROLE_COUNT], in[ES_ROLE_COUNT];
    bool fitted[ES_ROLE_COUNT];
    enum es_quality quality[ES_ROLE_COUNT];
    double leak; /* m3/s out of output 1 while there is supply */
    struct fake_trouble trouble;
    bool stuck; /* the actuator does not move */

    double write_time; /* s that each write takes */
    struct fake_write writes[FAKE_WRITES_MAX];
    size_t write_count;
    unsigned rests;

    struct fake_recording recordings[FAKE_RECORDS_MAX];
    struct es_trace *looked;
    unsigned recordings_begun, recordings_ended;

    bool refuse_next_confirm;     /* answer no */
    size_t refuse_confirm_number; /* counted from 1; 0: none */
    int choice;
    double number;
    char asked[FAKE_ANSWERS_MAX][300];
    unsigned asked_number[FAKE_ANSWERS_MAX], asked_of[FAKE_ANSWERS_MAX];
    char if_no[FAKE_ANSWERS_MAX][120];
    size_t asked_count;

    size_t calls;     /* of functions that can fail */
    size_t fail_call; /* from 1; 0: none */
    enum es_status fail_with;
    bool failed;
    size_t writes_after_failure, calls_after_failure;

    char events[400][200];
    enum es_event_kind event_kinds[400];
    enum es_role event_roles[400]; /* the first, or none */
    size_t event_role_counts[400];
    size_t event_count;
    double least_remaining, worst_sum; /* elapsed + remaining must never grow beyond the longest */
    double last_elapsed;
};

struct fake_bench *fake_bench_new(const struct es_type *type);
void fake_bench_free(struct fake_bench *b);

/* Options that fit it: attended by "Test Person". */
struct es_execute_options fake_options(const struct fake_bench *b);

/* Type sheets of the tests' own (tests/unit/engine/types), so that tuned limits do not move the tests; and
 * the shipped ones. Both end the test when they do not load. */
struct es_type *load_type(const char *name);
struct es_type *load_shipped_type(const char *name);

/* Under the address sanitizer: ends the test when memory is lost. Criterion's children leave without that
 * check. */
void expect_no_leaks(void);

#endif
