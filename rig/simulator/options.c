#include "rig/simulator/options.h"

#include <errno.h>
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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
    "  --unit [STATION=]TYPE   linear-single-acting (default), linear-double-acting, "
    "part-turn-single-acting,\n"
    "                          part-turn-double-acting, relay-module-single-acting,\n"
    "                          relay-module-double-acting, self-proof-block; on that station, or on all;\n"
    "                          may be repeated\n"
    "  --without feedback      units without a position feedback\n"
    "  --with shut-down        units that need the auxiliary 24 V\n"
    "  --seed N                which unit and which instruments, 0 or more; the same N gives the same "
    "(default 1)\n"
    "  --fault NAME=SEVERITY[,GROWTH]\n"
    "                          a fault from the start on every station, 0 (none) to 1 (gross), and its "
    "growth\n"
    "                          with every full stroke; may be repeated\n"
    "  --speed X               so many virtual seconds a second, 0.01 to 1000 (default 1)\n"
    "  --command COMMAND       done at the start; may be repeated (\"after 5 set emergency stop 0\")\n"
    "  --control PATH          local socket that takes commands\n"
    "  --tell PATH COMMAND ... gives a command to the simulator that listens at PATH, shows its answer, "
    "ends\n"
    "  --ready-file PATH       written when every bus is served, removed at the end\n"
    "  --faults                list the faults and what they do\n"
    "  --help                  this text\n"
    "  --version\n"
    "\n";

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

/* "0.5", or "0.1,0.02". */
static bool severity_and_growth(const char *text, double *severity, double *growth)
{
    char first[40];
    const size_t length = strcspn(text, ",");
    *growth = 0;
    if (length >= sizeof first) {
        return false;
    }
    memcpy(first, text, length);
    first[length] = '\0';
    return number(first, 0, 1, severity) && (!text[length] || number(text + length + 1, 0, 1, growth));
}

static enum es_status add_fault(struct sim_options *o, const char *text, struct es_error *err)
{
    char name[80];
    double severity, growth;
    const char *equals = strrchr(text, '=');
    if (!equals || (size_t)(equals - text) >= sizeof name ||
        !severity_and_growth(equals + 1, &severity, &growth)) {
        return es_fail(err, ES_USAGE,
                       "--fault \"%s\": NAME=SEVERITY or NAME=SEVERITY,GROWTH is wanted, both from 0 to 1",
                       text);
    }
    memcpy(name, text, (size_t)(equals - text));
    name[equals - text] = '\0';
    const int fault = es_virtual_fault_find(name);
    if (fault < 0) {
        return es_fail(err, ES_USAGE, "there is no fault \"%s\"; --faults lists them", name);
    }
    if (o->setup.fault_count == SIM_FAULTS_MAX) {
        return es_fail(err, ES_USAGE, "at most %d faults at the start", SIM_FAULTS_MAX);
    }
    o->faults[o->setup.fault_count++] = (struct es_virtual_fault_setting){fault, severity, growth};
    return ES_OK;
}

/* TYPE, or STATION=TYPE. */
static enum es_status take_unit(struct sim_options *o, const char *text, struct es_error *err)
{
    struct sim_setup *setup = &o->setup;
    const char *equals = strrchr(text, '=');
    enum es_virtual_type type;
    if (!es_virtual_type_find(equals ? equals + 1 : text, &type)) {
        return es_fail(err, ES_USAGE, "--unit \"%s\": there is no such kind of unit; --help lists them",
                       text);
    }
    if (!equals) {
        setup->unit.type = type;
        return ES_OK;
    }
    if (setup->other_count == SIM_UNITS_MAX) {
        return es_fail(err, ES_USAGE, "at most %d stations get a unit of their own", SIM_UNITS_MAX);
    }
    setup->others[setup->other_count].station = text;
    setup->others[setup->other_count].length = (size_t)(equals - text);
    setup->others[setup->other_count++].type = type;
    return ES_OK;
}

static enum es_status take_part(bool *part, const char *text, const char *known, const char *option,
                                struct es_error *err)
{
    if (strcmp(text, known) != 0) {
        return es_fail(err, ES_USAGE, "--%s \"%s\": only \"%s\" can be said here", option, text, known);
    }
    *part = true;
    return ES_OK;
}

static enum es_status take_seed(struct sim_options *o, const char *text, struct es_error *err)
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

static enum es_status take_option(struct sim_options *o, int which, const char *text, struct es_error *err)
{
    switch (which) {
    case 'b':
        o->bench = text;
        return ES_OK;
    case 's':
        o->setup.station = text;
        return ES_OK;
    case 'u':
        return take_unit(o, text, err);
    case 'w':
        return take_part(&o->setup.unit.shutdown_module, text, "shut-down", "with", err);
    case 'W':
        return take_part(&o->setup.unit.without_feedback, text, "feedback", "without", err);
    case 't':
        o->tell = text;
        return ES_OK;
    case 'n':
        return take_seed(o, text, err);
    case 'f':
        return add_fault(o, text, err);
    case 'x':
        return number(text, 0.01, 1000, &o->setup.speed)
                   ? ES_OK
                   : es_fail(err, ES_USAGE, "--speed \"%s\": a number from 0.01 to 1000 is wanted", text);
    case 'c':
        if (o->command_count == SIM_COMMANDS_MAX) {
            return es_fail(err, ES_USAGE, "at most %d commands at the start", SIM_COMMANDS_MAX);
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

enum es_status sim_options_parse(int argc, char **argv, struct sim_options *o, struct es_error *err)
{
    static const struct option longs[] = {
        {"bench", required_argument, NULL, 'b'},   {"station", required_argument, NULL, 's'},
        {"unit", required_argument, NULL, 'u'},    {"seed", required_argument, NULL, 'n'},
        {"fault", required_argument, NULL, 'f'},   {"with", required_argument, NULL, 'w'},
        {"without", required_argument, NULL, 'W'}, {"tell", required_argument, NULL, 't'},
        {"speed", required_argument, NULL, 'x'},   {"command", required_argument, NULL, 'c'},
        {"control", required_argument, NULL, 'C'}, {"ready-file", required_argument, NULL, 'r'},
        {"faults", no_argument, NULL, 'F'},        {"help", no_argument, NULL, 'h'},
        {"version", no_argument, NULL, 'v'},       {NULL, 0, NULL, 0}};
    int which;
    while ((which = getopt_long(argc, argv, "+h", longs, NULL)) != -1) {
        if (which == 'h' || which == 'v' || which == 'F') {
            if (which == 'h') {
                printf("%s%s", usage, sim_command_help);
            } else if (which == 'v') {
                printf("endstop-sim %s\n", ES_VERSION);
            } else {
                list_faults();
            }
            o->only_told = true;
            return fflush(stdout) == 0 ? ES_OK
                                       : es_fail_errno(err, errno, "what was asked for cannot be written");
        }
        const enum es_status s = take_option(o, which, optarg, err);
        if (s != ES_OK) {
            return s;
        }
    }
    if (o->tell) {
        o->words = argv + optind;
        o->word_count = (size_t)(argc - optind);
        return o->word_count > 0 ? ES_OK : es_fail(err, ES_USAGE, "--tell: a command comes after the path");
    }
    if (optind < argc) {
        return es_fail(err, ES_USAGE, "\"%s\" is one word too many; --help tells how", argv[optind]);
    }
    if (!o->bench) {
        return es_fail(err, ES_USAGE, "no bench file: --bench FILE; --help tells more");
    }
    return ES_OK;
}
