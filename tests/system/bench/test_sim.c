/* The station over real wires, Modbus TCP and a text line on a pseudo-terminal, against endstop-sim in a
 * process of its own: each cause for the interlock, the safe state and its time, and the next start after a
 * kill. */
#include <arpa/inet.h>
#include <criterion/criterion.h>
#include <math.h>
#include <netinet/in.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "rig/base/file.h"
#include "rig/bench/station.h"

struct fixture {
    char folder[64], file[96], sim_file[96], ready[96];
    pid_t sim;
    int commands; /* sim's standard input */
    struct es_bench *bench;
    struct es_live *live;
    struct es_station *station;
    const struct es_site *site;
    struct es_site_order order;
};

static int free_port(void)
{
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof a;
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    cr_assert_eq(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
    cr_assert_eq(getsockname(fd, (struct sockaddr *)&a, &size), 0);
    close(fd);
    return ntohs(a.sin_port);
}

/* The shipped bench file on a port of its own, and with one text altered. */
static void write_bench(const char *path, int port, const char *from, const char *to)
{
    char *text, digits[16], *at;
    size_t length;
    struct es_error err;
    cr_assert_eq(es_file_read(NULL, ES_SOURCE_DIR "/rig/bench/examples/virtual-bench.json", 1 << 20, &text,
                              &length, &err),
                 ES_OK);
    at = strstr(text, "15020");
    cr_assert_not_null(at);
    snprintf(digits, sizeof digits, "%5d", port);
    memcpy(at, digits, 5);
    FILE *f = fopen(path, "w");
    cr_assert_not_null(f);
    at = from ? strstr(text, from) : NULL;
    cr_assert(!from || at, "the example has no %s", from);
    if (at) {
        fprintf(f, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    } else {
        fputs(text, f);
    }
    fclose(f);
    free(text);
}

static void start_sim(struct fixture *x)
{
    int pipes[2];
    cr_assert_eq(pipe(pipes), 0);
    x->sim = fork();
    if (x->sim == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL); /* a failed test leaves nothing behind */
        dup2(pipes[0], 0);
        close(pipes[0]);
        close(pipes[1]);
        if (!freopen("/dev/null", "w", stdout)) {
            _exit(1);
        }
        execl(SIM, SIM, "--bench", x->sim_file, "--ready-file", x->ready, (char *)NULL);
        _exit(127);
    }
    close(pipes[0]);
    x->commands = pipes[1];
    es_time patience = es_clock_now() + 20 * ES_NS_PER_S;
    while (access(x->ready, F_OK) != 0) {
        cr_assert(es_clock_now() < patience, "endstop-sim does not become ready");
        es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 100);
    }
}

static void tell(struct fixture *x, const char *command)
{
    cr_assert_eq(write(x->commands, command, strlen(command)), (ssize_t)strlen(command));
}

static void open_live(struct fixture *x)
{
    struct es_findings f = {0};
    struct es_error err = {0};
    enum es_status status = es_bench_load(x->file, &f, &x->bench, &err);
    es_findings_print(&f, stderr);
    cr_assert_eq(status, ES_OK);
    cr_assert_eq(es_live_open(x->bench, NULL, &x->live, &err), ES_OK, "%s", err.text);
    x->station = es_live_station(x->live, "1");
    x->site = es_station_site(x->station);
}

static void begin(struct fixture *x)
{
    static const enum es_role needed[] = {ES_ROLE_SUPPLY_PRESSURE, ES_ROLE_SUPPLY_DEMAND,
                                          ES_ROLE_SUPPLY_VALVE,    ES_ROLE_LOOP_DEMAND,
                                          ES_ROLE_LOOP_CURRENT,    ES_ROLE_OUTPUT_1_PRESSURE};
    struct es_error err = {0};
    x->order = (struct es_site_order){.run = "test"};
    for (size_t i = 0; i < sizeof needed / sizeof needed[0]; i++) {
        x->order.needed[needed[i]] = true;
    }
    cr_assert_eq(x->site->begin(x->site->self, &x->order, &err), ES_OK, "%s", err.text);
}

static void put(struct fixture *x, enum es_role role, double value)
{
    struct es_error err = {0};
    es_time acted;
    cr_assert_eq(x->site->port.write(x->site->port.self, role, value, &acted, &err), ES_OK, "%s", err.text);
}

static enum es_status doze(struct fixture *x, double seconds, struct es_error *err)
{
    const struct es_port *p = &x->site->port;
    return p->sleep_until(p->self, p->now(p->self) + es_from_seconds(seconds), err);
}

static void make(struct fixture *x, const char *from, const char *to)
{
    memset(x, 0, sizeof *x);
    strcpy(x->folder, "/tmp/endstop-test-XXXXXX");
    cr_assert_not_null(mkdtemp(x->folder));
    snprintf(x->file, sizeof x->file, "%s/bench.json", x->folder);
    snprintf(x->sim_file, sizeof x->sim_file, "%s/sim.json", x->folder);
    snprintf(x->ready, sizeof x->ready, "%s/ready", x->folder);
    signal(SIGPIPE, SIG_IGN);
    int port = free_port();
    write_bench(x->sim_file, port, NULL, NULL);
    write_bench(x->file, port, from, to);
    start_sim(x);
}

/* Air on, 3 bar, 12 mA: what a run looks like in its middle. */
static void pressurise(struct fixture *x)
{
    put(x, ES_ROLE_OUTPUT_1_VENT, 0);
    put(x, ES_ROLE_SUPPLY_DEMAND, 3e5);
    put(x, ES_ROLE_SUPPLY_VALVE, 1);
    put(x, ES_ROLE_LOOP_DEMAND, 0.012);
}

static void finish(struct fixture *x)
{
    char command[128];
    es_live_close(x->live);
    es_bench_free(x->bench);
    kill(x->sim, SIGTERM);
    waitpid(x->sim, NULL, 0);
    close(x->commands);
    snprintf(command, sizeof command, "rm -rf '%s'", x->folder);
    cr_assert_eq(system(command), 0);
}

/* Lets the interlock act; returns the report. */
static struct es_safe_report expect_trip(struct fixture *x, double wait, const char *word)
{
    struct es_error err = {0};
    struct es_safe_report report;
    char cause[256];
    cr_assert_eq(doze(x, wait, &err), ES_INTERLOCK, "%s", err.text);
    x->site->end(x->site->self, &report);
    double seconds = x->site->tripped(x->site->self, cause, sizeof cause);
    cr_expect_not_null(strstr(cause, word), "%s", cause);
    cr_expect(seconds >= 0 && seconds <= report.allowed + 2, "%.3f s", seconds);
    fprintf(stderr, "safe state %.3f s after \"%s\": %s\n", seconds, cause, report.sentence);
    return report;
}

/* The pressures fall: the air is really out, not only the registers written. */
static void expect_no_air(struct fixture *x)
{
    es_time patience = es_clock_now() + 8 * ES_NS_PER_S;
    struct es_reading by_role[ES_ROLE_COUNT];
    do {
        es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 20);
        es_station_values(x->station, by_role);
    } while ((by_role[ES_ROLE_SUPPLY_PRESSURE].quality != ES_GOOD ||
              by_role[ES_ROLE_SUPPLY_PRESSURE].value > 2e4 ||
              by_role[ES_ROLE_OUTPUT_1_PRESSURE].value > 2e4) &&
             es_clock_now() < patience);
    cr_expect_lt(by_role[ES_ROLE_SUPPLY_PRESSURE].value, 2e4);
    cr_expect_lt(by_role[ES_ROLE_OUTPUT_1_PRESSURE].value, 2e4);
}

Test(sim, emergency_stop_guard_and_reset)
{
    static const char *const press[] = {"set emergency stop 0\n", "set guard 0\n"};
    static const char *const release[] = {"set emergency stop 1\n", "set guard 1\n"};
    static const char *const words[] = {"emergency stop", "guard"};
    struct fixture x;
    struct es_error err = {0};
    make(&x, NULL, NULL);
    open_live(&x);
    for (int i = 0; i < 2; i++) {
        begin(&x);
        pressurise(&x);
        cr_assert_eq(doze(&x, 0.6, &err), ES_OK, "%s", err.text);
        tell(&x, press[i]);
        struct es_safe_report report = expect_trip(&x, 2, words[i]);
        cr_expect(report.reached, "%s", report.sentence);
        cr_expect(report.seconds < 1.5, "%.3f s", report.seconds);
        expect_no_air(&x);
        tell(&x, release[i]);
        es_clock_sleep_until(es_clock_now() + ES_NS_PER_S / 5);
        cr_assert_eq(es_station_reset(x.station, "Ada Example", &err), ES_OK, "%s", err.text);
    }
    finish(&x);
}

Test(sim, ceiling_exceeded_by_a_reading)
{
    struct fixture x;
    make(&x, "{\"role\": \"supply pressure\", \"highest\": \"7.5 bar\"}",
         "{\"role\": \"supply pressure\", \"highest\": \"2 bar\"}");
    open_live(&x);
    begin(&x);
    pressurise(&x);
    struct es_safe_report report = expect_trip(&x, 4, "ceiling");
    cr_expect(report.reached, "%s", report.sentence);
    expect_no_air(&x);
    finish(&x);
}

/* Another program at the same bench: the station says so and makes safe, whichever way it was changed. */
Test(sim, outputs_changed_by_another_are_noticed)
{
    static const struct {
        const char *command, *sentence;
    } changes[] = {
        {"set supply valve 0\n",
         "supply valve is shut, but was commanded open: another program or a person changed it"},
        {"set output 1 vent valve 1\n", "output 1 vent valve is open, but was commanded shut"},
        {"set supply demand 5 bar\n", "supply demand is set to 5.000 bar, but was commanded 3.000 bar"},
    };
    struct fixture x;
    struct es_error err = {0};
    make(&x, NULL, NULL);
    open_live(&x);
    for (size_t i = 0; i < sizeof changes / sizeof changes[0]; i++) {
        begin(&x);
        pressurise(&x);
        cr_assert_eq(doze(&x, 1, &err), ES_OK, "%s", err.text);
        es_time told = es_clock_now();
        tell(&x, changes[i].command);
        cr_assert_eq(doze(&x, 3, &err), ES_INTERLOCK, "%s: nothing was noticed", changes[i].command);
        fprintf(stderr, "noticed %.3f s after it was changed\n", es_seconds(es_clock_now() - told));
        struct es_safe_report report = expect_trip(&x, 3, changes[i].sentence);
        cr_expect(report.reached, "%s", report.sentence);
        cr_assert_eq(es_station_reset(x.station, "Ada Example", &err), ES_OK, "%s", err.text);
    }
    finish(&x);
}

Test(sim, an_output_that_others_may_change_is_left_alone)
{
    struct fixture x;
    struct es_error err = {0};
    make(&x, "{\"role\": \"auxiliary supply\", ", "{\"role\": \"auxiliary supply\", \"watched\": false, ");
    open_live(&x);
    begin(&x);
    tell(&x, "set auxiliary supply 1\n");
    cr_expect_eq(doze(&x, 1.5, &err), ES_OK, "%s", err.text);
    tell(&x, "set shaft coupling 1\n"); /* not used by this run, and yet nobody else's */
    struct es_safe_report report = expect_trip(&x, 3, "shaft coupling is on, but was commanded off");
    cr_expect(report.reached, "%s", report.sentence);
    finish(&x);
}

Test(sim, implausible_channel)
{
    struct fixture x;
    make(&x, "\"plausible\": {\"low\": \"-0.2 bar\", \"high\": \"10.5 bar\"}",
         "\"plausible\": {\"low\": \"-0.2 bar\", \"high\": \"2.0 bar\"}");
    open_live(&x);
    begin(&x);
    pressurise(&x);
    struct es_safe_report report = expect_trip(&x, 6, "plausible");
    cr_expect(report.reached, "%s", report.sentence);
    finish(&x);
}

static struct es_safe_report trouble(struct fixture *x, const char *command, const char *word)
{
    struct es_error err = {0};
    make(x, NULL, NULL);
    open_live(x);
    begin(x);
    pressurise(x);
    cr_assert_eq(doze(x, 0.5, &err), ES_OK, "%s", err.text);
    tell(x, command);
    return expect_trip(x, 6, word);
}

/* No answer any more from the panel that has pressures, contacts and valves: known after the staleness time
 * of the pressures, 0.3 s, not after seconds; and safe on the other line at once, on this one when it answers
 * again. */
Test(sim, frozen_panel_is_noticed_within_its_staleness_time)
{
    struct fixture x;
    struct es_error err = {0};
    make(&x, NULL, NULL);
    open_live(&x);
    begin(&x);
    pressurise(&x);
    cr_assert_eq(doze(&x, 0.5, &err), ES_OK, "%s", err.text);
    es_time silent = es_clock_now();
    tell(&x, "silence panel 1.2\n");
    cr_assert_eq(doze(&x, 6, &err), ES_INTERLOCK, "%s", err.text);
    double noticed = es_seconds(es_clock_now() - silent);
    struct es_safe_report report = expect_trip(&x, 1, "is stale");
    fprintf(stderr, "noticed %.3f s after the last answer, safe %.3f s after\n", noticed,
            es_seconds(es_clock_now() - silent));
    cr_expect(noticed < 0.7, "%.3f s", noticed);
    cr_expect(report.reached, "%s", report.sentence);
    finish(&x);
}

/* A silent line does not hold up the one that answers, and gets its own safe values as soon as it answers
 * again. */
Test(sim, emergency_stop_while_a_line_is_silent)
{
    struct fixture x;
    struct es_error err = {0};
    make(&x, NULL, NULL);
    open_live(&x);
    begin(&x);
    pressurise(&x);
    cr_assert_eq(doze(&x, 0.5, &err), ES_OK, "%s", err.text);
    tell(&x, "silence loop-line 1\n");
    cr_assert_eq(doze(&x, 0.2, &err), ES_OK, "%s", err.text);
    tell(&x, "set emergency stop 0\n");
    struct es_safe_report report = expect_trip(&x, 3, "emergency stop");
    cr_expect(report.reached, "%s", report.sentence);
    for (size_t k = 0; k < report.count; k++) {
        const struct es_safe_step *s = &report.steps[k];
        fprintf(stderr, "  %-26s %.3f s\n", es_role_info(s->role)->name, s->at);
        cr_expect(s->at < (s->role == ES_ROLE_LOOP_DEMAND ? 2.5 : 1.5), "%s: %.3f s",
                  es_role_info(s->role)->name, s->at);
    }
    finish(&x);
}

/* The loop source takes commands without an answer: that it is at 0 mA is believed only when it says so. */
Test(sim, silent_loop_source_is_not_believed)
{
    struct fixture x;
    struct es_safe_report report = trouble(&x, "silence loop-line 20\n", "loop");
    cr_expect(report.reached, "%s", report.sentence);
    cr_expect_not_null(strstr(report.sentence, "loop demand"), "%s", report.sentence);
    for (size_t k = 0; k < report.count; k++) {
        cr_expect_eq(report.steps[k].outcome == ES_SAFE_UNPROVED,
                     report.steps[k].role == ES_ROLE_LOOP_DEMAND);
    }
    expect_no_air(&x);
    finish(&x);
}

Test(sim, dead_line_leaves_the_rest_safe)
{
    struct fixture x;
    struct es_safe_report report = trouble(&x, "disconnect loop-line 20\n", "loop");
    cr_expect_not(report.reached);
    cr_expect_not_null(strstr(report.sentence, "NOT SAFE: 1 of 11"), "%s", report.sentence);
    for (size_t k = 0; k < report.count; k++) {
        cr_expect_eq(report.steps[k].outcome == ES_SAFE_NOT_DONE,
                     report.steps[k].role == ES_ROLE_LOOP_DEMAND);
    }
    expect_no_air(&x);
    finish(&x);
}

/* Other ways in which a bus can fail, for a second, and then it heals: the run has ended for want of its
 * channels, nothing that came in between was taken for a value, and the bench is safe. */
static void a_bus_that_heals(const char *command, const char *word)
{
    struct fixture x;
    struct es_safe_report report = trouble(&x, command, word);
    cr_expect(report.reached, "%s", report.sentence);
    expect_no_air(&x);
    finish(&x);
}

Test(sim, answers_that_come_late)
{
    a_bus_that_heals("delay panel 1 by 0.8\n",
                     "is stale"); /* after the time-out: the next request's, were it believed */
}

Test(sim, answers_that_are_damaged)
{
    a_bus_that_heals("corrupt panel 1\n", "is stale");
}

/* The writes of the safe state are refused, too, and made again. */
Test(sim, exceptions_for_answers)
{
    a_bus_that_heals("refuse panel 1\n", "is without a value");
}

Test(sim, everything_gone_is_said)
{
    struct fixture x;
    struct es_error err = {0};
    make(&x, NULL, NULL);
    open_live(&x);
    begin(&x);
    pressurise(&x);
    cr_assert_eq(doze(&x, 0.3, &err), ES_OK, "%s", err.text);
    kill(x.sim, SIGKILL);
    struct es_safe_report report = expect_trip(&x, 6, "\"supply pressure\" is stale");
    cr_expect_not(report.reached);
    cr_expect_not_null(strstr(report.sentence, "NOT SAFE"), "%s", report.sentence);
    for (size_t k = 0; k < report.count; k++) {
        /* What was written to a line that nobody reads any more may count as sent, never as proved. */
        cr_expect_neq(report.steps[k].outcome, ES_SAFE_DONE);
    }
    cr_expect_not_null(strstr(report.sentence, "emergency stop"));
    finish(&x);
}

Test(sim, killed_program_next_start_makes_safe_first)
{
    struct fixture x;
    make(&x, NULL, NULL);
    pid_t victim = fork();
    if (victim == 0) {
        open_live(&x);
        begin(&x);
        pressurise(&x);
        kill(getpid(), SIGKILL);
    }
    int status;
    waitpid(victim, &status, 0);
    cr_assert(WIFSIGNALED(status));
    open_live(&x);
    struct es_station_status s;
    es_station_status(x.station, &s);
    cr_expect_eq(s.state, ES_LOCK_SAFE);
    cr_expect(s.safe.reached, "%s", s.safe.sentence);
    cr_expect_str_eq(s.safe.cause, "the program starts");
    expect_no_air(&x);
    finish(&x);
}

/* Nobody starts again: the bench's own watchdog acts. */
Test(sim, killed_program_watchdog_acts)
{
    struct fixture x;
    make(&x, NULL, NULL);
    pid_t victim = fork();
    if (victim == 0) {
        open_live(&x);
        begin(&x);
        pressurise(&x);
        es_clock_sleep_until(es_clock_now() + ES_NS_PER_S);
        kill(getpid(), SIGKILL);
    }
    waitpid(victim, NULL, 0);
    es_clock_sleep_until(es_clock_now() + 4 * ES_NS_PER_S); /* its period is 3 s */
    open_live(&x);
    /* The first values after the start: the air was out before the program could do anything about it. */
    struct es_reading by_role[ES_ROLE_COUNT];
    es_time patience = es_clock_now() + 2 * ES_NS_PER_S;
    do {
        es_station_values(x.station, by_role);
    } while (by_role[ES_ROLE_SUPPLY_PRESSURE].quality != ES_GOOD && es_clock_now() < patience);
    cr_expect_lt(by_role[ES_ROLE_SUPPLY_PRESSURE].value, 2e4);
    finish(&x);
}
