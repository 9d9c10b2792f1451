#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/file.h"
#include "rig/base/text.h"
#include "rig/simulator/simulator.h"

#define FAULTS_MAX   16
#define COMMANDS_MAX 16

static const char usage[] =
    "Usage: endstop-sim --bench FILE [options]\n"
    "\n"
    "Plays the bench that FILE describes, so that endstopd can work without one: every instrument answers "
    "on\n"
    "its own wire (Modbus TCP, Modbus RTU, text lines), from a computed station with a computed unit on it.\n"
    "Serial devices of the file become links to pseudo-terminals, which are removed at the end. The file "
    "must\n"
    "say that it describes a virtual bench.\n"
    "\n"
    "  --bench FILE            bench file\n"
    "  --station NAME          serve this station only\n"
    "  --unit TYPE             linear-single-acting (default) or part-turn-double-acting\n"
    "  --seed N                which unit and which instruments, 0 or more; the same N gives the same "
    "(default 1)\n"
    "  --fault NAME=SEVERITY   a fault from the start on every station, 0 (none) to 1 (gross); may be "
    "repeated\n"
    "  --speed X               so many virtual seconds a second, 0.01 to 1000 (default 1)\n"
    "  --command COMMAND       done at the start; may be repeated (\"after 5 set emergency stop 0\")\n"
    "  --control PATH          local socket that takes commands\n"
    "  --ready-file PATH       written when every bus is served, removed at the end\n"
    "  --faults                list the faults and what they do\n"
    "  --help                  this text\n"
    "  --version\n"
    "\n";

struct options {
    const char *bench, *control, *ready_file;
    struct sim_setup setup;
    struct es_virtual_fault_setting faults[FAULTS_MAX];
    const char *commands[COMMANDS_MAX];
    size_t command_count;
    bool only_told; /* --help and the like: done */
};

static void list_faults(void)
{
    for (int i = 0; i < (int)es_virtual_fault_count(); i++) {
        const struct es_virtual_fault *f = es_virtual_fault_get(i);
        printf("%-32s %-9s %s%s\n", f->name, es_virtual_place_name(f->place), f->meaning,
               es_virtual_fault_needs_text(i));
    }
}

static bool number(const char *text, double low, double high, double *out)
{
    char *end;
    errno = 0;
    const double value = strtod(text, &end);
    if (end == text || *end || errno || !(value >= low && value <= high)) {
        return false;
    }
    *out = value;
    return true;
}

static enum es_status add_fault(struct options *o, const char *text, struct es_error *err)
{
    char name[80];
    double severity;
    const char *equals = strrchr(text, '=');
    if (!equals || (size_t)(equals - text) >= sizeof name || !number(equals + 1, 0, 1, &severity)) {
        return es_fail(err, ES_USAGE, "--fault \"%s\": NAME=SEVERITY is wanted, the severity from 0 to 1",
                       text);
    }
    memcpy(name, text, (size_t)(equals - text));
    name[equals - text] = '\0';
    const int fault = es_virtual_fault_find(name);
    if (fault < 0) {
        return es_fail(err, ES_USAGE, "there is no fault \"%s\"; --faults lists them", name);
    }
    if (o->setup.fault_count == FAULTS_MAX) {
        return es_fail(err, ES_USAGE, "at most %d faults at the start", FAULTS_MAX);
    }
    o->faults[o->setup.fault_count++] = (struct es_virtual_fault_setting){fault, severity, 0};
    return ES_OK;
}

static enum es_status take_seed(struct options *o, const char *text, struct es_error *err)
{
    char *end;
    errno = 0;
    const unsigned long long seed = strtoull(text, &end, 10);
    if (end == text || *end || errno || *text == '-') {
        return es_fail(err, ES_USAGE, "--seed \"%s\": a whole number from 0 is wanted", text);
    }
    o->setup.seed = seed;
    return ES_OK;
}

static enum es_status take_option(struct options *o, int which, const char *text, struct es_error *err)
{
    switch (which) {
    case 'b':
        o->bench = text;
        return ES_OK;
    case 's':
        o->setup.station = text;
        return ES_OK;
    case 'u':
        return es_virtual_type_find(text, &o->setup.type)
                   ? ES_OK
                   : es_fail(err, ES_USAGE, "--unit \"%s\": linear-single-acting or part-turn-double-acting",
                             text);
    case 'n':
        return take_seed(o, text, err);
    case 'f':
        return add_fault(o, text, err);
    case 'x':
        return number(text, 0.01, 1000, &o->setup.speed)
                   ? ES_OK
                   : es_fail(err, ES_USAGE, "--speed \"%s\": a number from 0.01 to 1000 is wanted", text);
    case 'c':
        if (o->command_count == COMMANDS_MAX) {
            return es_fail(err, ES_USAGE, "at most %d commands at the start", COMMANDS_MAX);
        }
        o->commands[o->command_count++] = text;
        return ES_OK;
    case 'C':
        o->control = text;
        return ES_OK;
    case 'r':
        o->ready_file = text;
        return ES_OK;
    default:
        return es_fail(err, ES_USAGE, "wrong use; --help tells how");
    }
}

static enum es_status parse(int argc, char **argv, struct options *o, struct es_error *err)
{
    static const struct option longs[] = {{"bench", required_argument, NULL, 'b'},
                                          {"station", required_argument, NULL, 's'},
                                          {"unit", required_argument, NULL, 'u'},
                                          {"seed", required_argument, NULL, 'n'},
                                          {"fault", required_argument, NULL, 'f'},
                                          {"speed", required_argument, NULL, 'x'},
                                          {"command", required_argument, NULL, 'c'},
                                          {"control", required_argument, NULL, 'C'},
                                          {"ready-file", required_argument, NULL, 'r'},
                                          {"faults", no_argument, NULL, 'F'},
                                          {"help", no_argument, NULL, 'h'},
                                          {"version", no_argument, NULL, 'v'},
                                          {NULL, 0, NULL, 0}};
    int which;
    while ((which = getopt_long(argc, argv, "h", longs, NULL)) != -1) {
        if (which == 'h' || which == 'v' || which == 'F') {
            if (which == 'h') {
                printf("%s%s", usage, sim_command_help);
            } else if (which == 'v') {
                printf("endstop-sim %s\n", ES_VERSION);
            } else {
                list_faults();
            }
            o->only_told = true;
            return ES_OK;
        }
        const enum es_status s = take_option(o, which, optarg, err);
        if (s != ES_OK) {
            return s;
        }
    }
    if (optind < argc) {
        return es_fail(err, ES_USAGE, "\"%s\" is one word too many; --help tells how", argv[optind]);
    }
    if (!o->bench) {
        return es_fail(err, ES_USAGE, "no bench file: --bench FILE; --help tells more");
    }
    return ES_OK;
}

static void describe(const struct simulator *sim, struct es_text *out)
{
    for (size_t i = 0; i < sim->bus_count; i++) {
        char text[400];
        sim_bus_describe(&sim->buses[i], text, sizeof text);
        es_text_printf(out, "%s\n", text);
    }
    for (size_t i = 0; i < sim->station_count; i++) {
        const struct sim_station *s = &sim->stations[i];
        es_text_printf(out, "station \"%s\": %s unit, seed %llu\n", s->about->name,
                       es_virtual_type_name(s->config.type), (unsigned long long)s->config.seed);
    }
}

static enum es_status first_commands(struct sim_control *control, const struct options *o,
                                     struct es_error *err)
{
    enum es_status s = ES_OK;
    for (size_t i = 0; i < o->command_count && s == ES_OK; i++) {
        struct es_text answer = {0};
        s = sim_control_line(control, o->commands[i], &answer, err);
        if (answer.bytes) {
            fputs(answer.bytes, stdout);
        }
        es_text_free(&answer);
        if (s != ES_OK) {
            s = es_error_context(err, s, "--command \"%s\"", o->commands[i]);
        }
    }
    return s;
}

static enum es_status serve(struct simulator *sim, struct sim_control *control, const struct options *o,
                            struct es_error *err)
{
    struct es_text about = {0};
    enum es_status s = first_commands(control, o, err);
    if (s != ES_OK) {
        return s;
    }
    describe(sim, &about);
    if (about.out_of_memory) {
        es_text_free(&about);
        return es_fail(err, ES_NO_MEMORY, "no memory");
    }
    if (o->ready_file) {
        s = es_file_write(NULL, o->ready_file, ES_FILE_REPLACE, 0644, about.bytes, about.length, err);
    }
    if (s == ES_OK) {
        printf("%sready\n", about.bytes);
        (void)fflush(stdout);
        s = sim_run(sim, control, err);
        if (o->ready_file) {
            (void)unlink(o->ready_file);
        }
    }
    es_text_free(&about);
    return s;
}

static enum es_status simulate(const struct options *o, struct es_error *err)
{
    struct es_findings findings = {0};
    struct es_bench *bench = NULL;
    struct simulator *sim = NULL;
    struct sim_control *control = NULL;
    enum es_status s = es_bench_load(o->bench, &findings, &bench, err);
    if (s != ES_OK) {
        es_findings_print(&findings, stderr);
        goto free_findings;
    }
    s = sim_new(bench, &o->setup, &sim, err);
    if (s != ES_OK) {
        goto free_bench;
    }
    s = sim_control_open(sim, o->control, &control, err);
    if (s == ES_OK) {
        s = serve(sim, control, o, err);
    }
    sim_control_close(control);
    sim_free(sim);
free_bench:
    es_bench_free(bench);
free_findings:
    es_findings_free(&findings);
    return s;
}

/* The signals that end us are taken in the loop; a background reader of a terminal gets an error instead of
 * being stopped; a client that is gone gives an error too. */
static void prepare_signals(void)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGHUP);
    (void)sigprocmask(SIG_BLOCK, &set, NULL);
    (void)signal(SIGTTIN, SIG_IGN);
    (void)signal(SIGPIPE, SIG_IGN);
}

/* Whoever starts us without standard input or output must not find a line of ours in their place. */
static bool standard_descriptors(void)
{
    int fd;
    do {
        fd = open("/dev/null", O_RDWR);
    } while (fd >= 0 && fd <= STDERR_FILENO);
    return fd >= 0 && close(fd) == 0;
}

int main(int argc, char **argv)
{
    struct es_error err;
    struct options o = {.setup = {.seed = 1, .speed = 1}};
    if (!standard_descriptors()) {
        return es_exit_status(ES_IO);
    }
    es_error_clear(&err);
    o.setup.faults = o.faults;
    enum es_status s = parse(argc, argv, &o, &err);
    if (s == ES_OK && !o.only_told) {
        prepare_signals();
        s = simulate(&o, &err);
    }
    if (s != ES_OK) {
        fprintf(stderr, "endstop-sim: %s\n", err.text);
    }
    return es_exit_status(s);
}
