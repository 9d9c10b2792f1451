/* Jobs: from arrival to delivery, over days and processes, with a second person's release. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "results/store/jobs.h"
#include "tests/unit/store/store_help.h"

static struct es_error err;
static const struct es_job_unit unit = {
    .serial = "EX-000123", .received = "2026-02-01", .customer = "Example Quarry"};

TestSuite(jobs, .init = help_setup, .fini = help_teardown);

static enum es_status add(const char *number, const char *what, const char *who, const char *text)
{
    const struct es_job_change c = {.what = what, .who = who, .when = "2026-02-03T10:00:00Z", .text = text};
    struct es_store *store = help_open(ES_STORE_READ); /* a store of its own each time: as after days */
    enum es_status st = es_job_add(store, number, &c, &err);
    es_store_close(store);
    return st;
}

static enum es_status add_run(const char *number, const char *certificate, const char *state,
                              const char *verdict)
{
    const struct es_job_change c = {.what = "run",
                                    .who = "A. Example",
                                    .when = "2026-02-03T10:00:00Z",
                                    .certificate = certificate,
                                    .state = state,
                                    .verdict = verdict,
                                    .ran_by = "A. Example"};
    struct es_store *store = help_open(ES_STORE_READ);
    enum es_status st = es_job_add(store, number, &c, &err);
    es_store_close(store);
    return st;
}

Test(jobs, a_whole_visit)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    char number[ES_STORE_NUMBER_MAX];
    struct es_job job;
    cr_assert_eq(es_job_open(store, &unit, "A. Example", "2026-02-01T08:00:00Z", number, &err), ES_OK, "%s",
                 err.text);
    cr_expect_str_eq(number, "J-000001");
    es_store_close(store);
    cr_expect_eq(add(number, "released", "B. Example", NULL), ES_REFUSED, "nothing was found yet");
    cr_assert_eq(add_run(number, "EX-000001", "as found", "fail"), ES_OK, "%s", err.text);
    cr_assert_eq(add(number, "found", "A. Example", "diaphragm torn"), ES_OK);
    cr_expect_eq(add(number, "released", "B. Example", NULL), ES_REFUSED, "no result as left");
    cr_assert_eq(add(number, "parts", "A. Example", "relay"), ES_OK);
    cr_assert_eq(add(number, "parts", "A. Example", "seals"), ES_OK);
    cr_assert_eq(add_run(number, "EX-000002", "as left", "pass"), ES_OK);
    cr_expect_eq(add(number, "delivered", "A. Example", "by courier"), ES_REFUSED, "not released");
    cr_expect_eq(add(number, "released", "A. Example", NULL), ES_REFUSED);
    cr_expect_not_null(strstr(err.text, "second person"), "%s", err.text);
    cr_assert_eq(add(number, "released", "B. Example", NULL), ES_OK, "%s", err.text);
    cr_assert_eq(add_run(number, "EX-000003", "as left", "pass"), ES_OK, "tested once more");
    cr_expect_eq(add(number, "delivered", "A. Example", "by courier"), ES_REFUSED,
                 "the new result is not released");
    cr_assert_eq(add(number, "released", "B. Example", NULL), ES_OK);
    cr_expect_eq(add(number, "released", "C. Example", NULL), ES_REFUSED);
    cr_expect_not_null(strstr(err.text, "already, by B. Example"), "%s", err.text);
    cr_assert_eq(add(number, "delivered", "A. Example", "by courier"), ES_OK);
    cr_expect_eq(add(number, "note", "A. Example", "late"), ES_REFUSED);
    store = help_open(ES_STORE_READ);
    cr_assert_eq(es_job_read(store, number, &job, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(job.parts, "relay; seals");
    cr_expect_str_eq(job.found, "diaphragm torn");
    cr_expect_str_eq(job.as_found, "EX-000001");
    cr_expect_str_eq(job.as_left, "EX-000003");
    cr_expect_str_eq(job.released_by, "B. Example");
    cr_expect_str_eq(job.stage, "delivered");
    cr_expect_eq(job.lines.count, 10);
    es_job_free(&job);
    es_store_close(store);
}

/* What was tested is what is released: a part replaced, or a finding changed, after that needs it anew. */
Test(jobs, names_that_nobody_can_see_are_refused)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    char number[ES_STORE_NUMBER_MAX];
    struct es_jobs jobs = {0};
    const struct es_job_unit bad[] = {
        {.serial = "4711\r", .received = "2026-02-01"},
        {.serial = "47\x1b[2J", .received = "2026-02-01"},
        {.serial = " 4711", .received = "2026-02-01"},
        {.serial = "4711", .lot = "L\t2", .received = "2026-02-01"},
        {.serial = "4711", .customer = "Example\u202eQuarry", .received = "2026-02-01"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect_eq(es_job_open(store, &bad[i], "A. Example", "2026-02-01T08:00:00Z", number, &err),
                     ES_USAGE, "%zu", i);
    cr_expect_eq(es_job_list(store, &jobs, &err), ES_OK);
    cr_expect_eq(jobs.count, 0, "nothing was opened");
    es_jobs_free(&jobs);
    es_store_close(store);
}

Test(jobs, a_release_ends_with_what_comes_after_it)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    char number[ES_STORE_NUMBER_MAX];
    cr_assert_eq(es_job_open(store, &unit, "A. Example", "2026-02-01T08:00:00Z", number, &err), ES_OK);
    es_store_close(store);
    cr_assert_eq(add(number, "found", "A. Example", ES_JOB_NO_FAULT), ES_OK);
    cr_assert_eq(add_run(number, "EX-000001", "as left", "not completed"), ES_OK);
    cr_expect_eq(add(number, "released", "B. Example", NULL), ES_REFUSED, "a test that was not completed");
    cr_assert_eq(add_run(number, "EX-000002", "as left", "pass"), ES_OK);
    cr_assert_eq(add(number, "released", "B. Example", NULL), ES_OK, "%s", err.text);
    cr_assert_eq(add(number, "found", "A. Example", "seat worn after all"), ES_OK);
    cr_expect_eq(add(number, "delivered", "A. Example", NULL), ES_REFUSED,
                 "the finding is not what was released");
    cr_assert_eq(add(number, "released", "B. Example", NULL), ES_OK);
    cr_assert_eq(add(number, "parts", "A. Example", "relay"), ES_OK);
    cr_expect_eq(add(number, "delivered", "A. Example", NULL), ES_REFUSED, "a part came after the release");
    cr_expect_eq(add(number, "released", "B. Example", NULL), ES_REFUSED, "it was not tested since");
    cr_assert_eq(add_run(number, "EX-000003", "as left", "pass"), ES_OK);
    cr_assert_eq(add(number, "released", "B. Example", NULL), ES_OK);
    cr_assert_eq(add(number, "delivered", "A. Example", NULL), ES_OK);
}

/* Three people release one job at the same moment: one of them does. */
Test(jobs, released_by_several_at_once)
{
    for (int round = 0; round < 15; round++) {
        struct es_store *store = help_open(ES_STORE_WRITE);
        char number[ES_STORE_NUMBER_MAX];
        int gate[2], done = 0;
        pid_t pids[3];
        struct es_job job;
        cr_assert_eq(es_job_open(store, &unit, "A. Example", "2026-02-01T08:00:00Z", number, &err), ES_OK);
        es_store_close(store);
        cr_assert_eq(add(number, "found", "A. Example", ES_JOB_NO_FAULT), ES_OK);
        cr_assert_eq(add_run(number, "EX-000001", "as left", "pass"), ES_OK);
        cr_assert_eq(pipe(gate), 0);
        for (int i = 0; i < 3; i++) {
            static const char *const who[] = {"B. Example", "C. Example", "D. Example"};
            pids[i] = fork();
            cr_assert_geq(pids[i], 0);
            if (pids[i] == 0) {
                char go;
                _exit(read(gate[0], &go, 1) == 1 && add(number, "released", who[i], NULL) == ES_OK ? 0 : 1);
            }
        }
        cr_assert_eq(write(gate[1], "ggg", 3), 3);
        for (int i = 0; i < 3; i++) {
            int status = 0;
            cr_assert_eq(waitpid(pids[i], &status, 0), pids[i]);
            done += WIFEXITED(status) && WEXITSTATUS(status) == 0;
        }
        (void)close(gate[0]);
        (void)close(gate[1]);
        cr_expect_eq(done, 1, "round %d: %d released it", round, done);
        store = help_open(ES_STORE_READ);
        cr_assert_eq(es_job_read(store, number, &job, &err), ES_OK, "%s", err.text);
        cr_expect_eq(job.lines.count, 4);
        es_job_free(&job);
        es_store_close(store);
    }
}

Test(jobs, bad_input_is_refused_and_damage_is_told)
{
    struct es_store *store = help_open(ES_STORE_WRITE);
    char number[ES_STORE_NUMBER_MAX], path[200];
    struct es_job job;
    struct es_job_unit bad = unit;
    bad.serial = "";
    cr_expect_eq(es_job_open(store, &bad, "A", "t", number, &err), ES_USAGE);
    bad = unit;
    bad.received = "1.2.2026";
    cr_expect_eq(es_job_open(store, &bad, "A", "t", number, &err), ES_USAGE);
    cr_expect_eq(es_job_read(store, "../x", &job, &err), ES_BAD_INPUT);
    cr_expect_eq(es_job_read(store, "J-000009", &job, &err), ES_NOT_FOUND);
    for (int i = 1; i <= 3; i++) {
        cr_assert_eq(es_job_open(store, &unit, "A. Example", "2026-02-01T08:00:00Z", number, &err), ES_OK);
    }
    cr_expect_str_eq(number, "J-000003");
    cr_expect_eq(add(number, "found", "A", "  "), ES_USAGE);
    cr_expect_eq(add(number, "stolen", "A", "x"), ES_USAGE);
    (void)snprintf(path, sizeof path, "%s/jobs/J-000002.jsonl", help_folder);
    FILE *file = fopen(path, "a");
    (void)fputs("{\"what\":\"not", file);
    (void)fclose(file);
    cr_expect_eq(es_job_read(store, "J-000002", &job, &err), ES_BAD_INPUT);
    cr_expect_eq(add("J-000002", "note", "A", "x"), ES_BAD_INPUT, "a damaged job is left alone");
    struct es_jobs jobs;
    cr_assert_eq(es_job_list(store, &jobs, &err), ES_OK);
    cr_expect_eq(jobs.count, 3);
    es_jobs_free(&jobs);
    es_store_close(store);
}
