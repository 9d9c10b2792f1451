/* Runs Criterion's tests without Criterion's sandbox, for the thread sanitizer.
 *
 * Criterion's processes share memory at fixed addresses, which the thread sanitizer keeps for itself: such a
 * program stops at its start (a known limit of Criterion, reported in 2018 and still open). With
 * -DES_SANITIZE=thread es_test links this file instead of libcriterion. The tests are the same, compiled
 * against Criterion's own headers; each runs in a child process made by fork. Theories are not known here. */
#include <criterion/criterion.h>
#include <criterion/options.h>
#include <criterion/parameterized.h>
#include <errno.h>
#include <pthread.h>
#include <setjmp.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define SKIPPED       77
#define SLOWER        20    /* what the sanitizer makes of a test's own time-out */
#define USUAL_TIMEOUT 300.0 /* s */

/* The linker gives the bounds of the sections in which the macros collect tests and suites. */
extern struct criterion_test *__start_cr_tst[], *__stop_cr_tst[];
extern struct criterion_suite *__start_cr_sts[] __attribute__((weak));
extern struct criterion_suite *__stop_cr_sts[] __attribute__((weak));

struct criterion_options criterion_options;

static const struct criterion_test *current;
static const struct criterion_test_extra_data *suite;
static void *parameter;
static atomic_bool failed, skipped;
static jmp_buf left;
static pthread_t main_thread;

/* ---- What the macros call ---- */

void criterion_send_assert(struct criterion_assert_stats *stats)
{
    if (!stats->passed)
        (void)fprintf(stderr, "%s:%u: %s/%s: %s\n", stats->file, stats->line, current->category,
                      current->name, stats->message);
}

void criterion_continue_test(void)
{
    atomic_store(&failed, true);
}

static _Noreturn void leave_test(void)
{
    if (pthread_equal(pthread_self(), main_thread))
        longjmp(left, 1);
    (void)fflush(NULL);
    _exit(1); /* from another thread there is no way back */
}

void criterion_abort_test(void)
{
    atomic_store(&failed, true);
    leave_test();
}

void criterion_skip_test(const char *format, ...)
{
    va_list args;

    va_start(args, format);
    (void)fprintf(stderr, "skipped: %s/%s: ", current->category, current->name);
    (void)vfprintf(stderr, format, args);
    (void)fputc('\n', stderr);
    va_end(args);
    atomic_store(&skipped, true);
    leave_test();
}

void cri_asserts_passed_incr(void) {}

int cr_asprintf(char **out, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    int n = vasprintf(out, format, args);
    va_end(args);
    if (n < 0)
        *out = NULL;
    return n;
}

void cr_asprintf_free(char *text)
{
    free(text);
}

char *cr_translate_assert_msg(int index, ...)
{
    static const char *const texts[] = {
        [CRITERION_ASSERT_MSG_EXPR_FALSE] = "does not hold",
        [CRITERION_ASSERT_MSG_EXPR_AS_STRINGS_FALSE] = "does not hold as texts",
        [CRITERION_ASSERT_MSG_IS_NULL] = "is not NULL",
        [CRITERION_ASSERT_MSG_IS_NOT_NULL] = "is NULL",
        [CRITERION_ASSERT_MSG_IS_EMPTY] = "is not empty",
        [CRITERION_ASSERT_MSG_IS_NOT_EMPTY] = "is empty",
    };
    size_t i = (size_t)index;
    const char *text = i < sizeof texts / sizeof texts[0] && texts[i] != NULL ? texts[i] : "failed";

    return strdup(text);
}

void criterion_internal_test_setup(void)
{
    if (suite != NULL && suite->init != NULL)
        suite->init();
    if (current->data->init != NULL)
        current->data->init();
}

void criterion_internal_test_main(void (*test)(void))
{
    if (setjmp(left) != 0)
        return;
    if (current->data->kind_ == CR_TEST_PARAMETERIZED)
        ((void (*)(void *))(void *)test)(parameter);
    else
        test();
}

void criterion_internal_test_teardown(void)
{
    if (current->data->fini != NULL)
        current->data->fini();
    if (suite != NULL && suite->fini != NULL)
        suite->fini();
}

/* ---- The runner ---- */

static const struct criterion_test_extra_data *suite_of(const char *name)
{
    for (struct criterion_suite **s = __start_cr_sts; s != NULL && s < __stop_cr_sts; s++)
        if (*s != NULL && strcmp((*s)->name, name) == 0)
            return (*s)->data;
    return NULL;
}

static _Noreturn void run_in_child(void)
{
    main_thread = pthread_self();
    if (setjmp(left) == 0) /* an assertion in init comes back here */
        current->test();
    (void)fflush(NULL);
    exit(atomic_load(&failed) ? 1 : atomic_load(&skipped) ? SKIPPED : 0); /* the sanitizer may still say no */
}

static double now(void)
{
    struct timespec t;

    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Waits for the child; kills it when it takes too long. Returns its status, -1 when it was killed. */
static int wait_for(pid_t child, double seconds)
{
    const struct timespec nap = {.tv_nsec = 1000000};
    double deadline = now() + seconds;
    int status = 0;

    for (;;) {
        pid_t got = waitpid(child, &status, WNOHANG);
        if (got == child)
            return status;
        if (got < 0 && errno != EINTR)
            return -1;
        if (now() > deadline) {
            (void)kill(child, SIGKILL);
            (void)waitpid(child, &status, 0);
            (void)fprintf(stderr, "%s/%s: no end after %.0f s\n", current->category, current->name, seconds);
            return -1;
        }
        (void)nanosleep(&nap, NULL);
    }
}

static double timeout_of(void)
{
    if (current->data->timeout > 0)
        return current->data->timeout * SLOWER;
    if (suite != NULL && suite->timeout > 0)
        return suite->timeout * SLOWER;
    return USUAL_TIMEOUT;
}

/* 0 passed, 1 failed, SKIPPED. */
static int run_once(void)
{
    (void)fflush(NULL);
    pid_t child = fork();
    if (child < 0) {
        perror("fork");
        return 1;
    }
    if (child == 0)
        run_in_child();
    int status = wait_for(child, timeout_of());
    if (status == -1)
        return 1;
    if (WIFSIGNALED(status)) {
        if (WTERMSIG(status) == current->data->signal)
            return 0;
        (void)fprintf(stderr, "%s/%s: ended by signal %d\n", current->category, current->name,
                      WTERMSIG(status));
        return 1;
    }
    if (WEXITSTATUS(status) == SKIPPED)
        return SKIPPED;
    if (WEXITSTATUS(status) == current->data->exit_code && current->data->signal == 0)
        return 0;
    (void)fprintf(stderr, "FAILED %s/%s (exit status %d)\n", current->category, current->name,
                  WEXITSTATUS(status));
    return 1;
}

struct tally {
    unsigned passed, failed, skipped;
};

static void count_once(struct tally *t)
{
    int result = run_once();

    t->passed += result == 0;
    t->skipped += result == SKIPPED;
    t->failed += result != 0 && result != SKIPPED;
}

static void run_test(const struct criterion_test *test, struct tally *t)
{
    current = test;
    suite = suite_of(test->category);
    if (test->data->disabled || (suite != NULL && suite->disabled)) {
        t->skipped++;
        return;
    }
    if (test->data->kind_ != CR_TEST_PARAMETERIZED) {
        count_once(t);
        return;
    }
    struct criterion_test_params all = test->data->param_();
    for (size_t i = 0; i < all.length; i++) {
        parameter = (char *)all.params + i * all.size;
        count_once(t);
    }
    if (all.cleanup != NULL)
        all.cleanup(&all);
}

int main(void)
{
    struct tally t = {0};

    for (struct criterion_test **test = __start_cr_tst; test < __stop_cr_tst; test++)
        if (*test != NULL)
            run_test(*test, &t);
    (void)fprintf(stderr, "tested: %u, passed: %u, failed: %u, skipped: %u\n",
                  t.passed + t.failed + t.skipped, t.passed, t.failed, t.skipped);
    if (t.failed > 0 || t.passed + t.skipped == 0)
        return 1;
    return t.passed == 0 ? SKIPPED : 0;
}
