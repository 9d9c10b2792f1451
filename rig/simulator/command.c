/* Commands in plain English, one a line. The table is the only list of them. */
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/text.h"
#include "rig/simulator/simulator.h"

const char sim_command_help[] =
    "Commands, one a line (at standard input, by --command, or at the --control socket):\n"
    "  set fault NAME SEVERITY [GROWTH]   severity 0 (none) to 1 (gross); growth with every full stroke\n"
    "  set ROLE VALUE                     emergency stop 0|1, guard 0|1, ambient temperature 25 degC, ...\n"
    "                                     an output, as another program would: supply valve 0, supply demand "
    "2 bar\n"
    "  mount TYPE SEED                    another unit; the air starts from nothing\n"
    "  silence BUS SECONDS                no instrument on it answers\n"
    "  delay BUS SECONDS BY SECONDS       answers come this much later\n"
    "  corrupt BUS SECONDS                one byte of each answer is wrong\n"
    "  refuse BUS SECONDS                 Modbus: every request gets an exception\n"
    "  disconnect BUS [SECONDS]           hangs up; comes back at once or after that time\n"
    "  after SECONDS COMMAND              does it later\n"
    "  show faults | values | buses       what there is\n"
    "  station NAME COMMAND               for that station; without it the first one is meant\n"
    "  help, stop\n"
    "A name with blanks may be written with hyphens instead.\n";

struct words {
    const char *at; /* what is left of the line */
};

struct word {
    const char *text;
    size_t length;
};

static struct word next_word(struct words *w)
{
    w->at += strspn(w->at, " \t");
    struct word found = {w->at, strcspn(w->at, " \t")};
    w->at += found.length;
    return found;
}

static bool is(struct word w, const char *text)
{
    return strlen(text) == w.length && memcmp(w.text, text, w.length) == 0;
}

static bool take_number(struct words *w, double *out)
{
    char *end;
    const double value = strtod(w->at, &end);
    if (end == w->at || (*end && !strchr(" \t", *end))) {
        return false;
    }
    w->at = end;
    *out = value;
    return true;
}

static bool at_end(const struct words *w)
{
    return w->at[strspn(w->at, " \t")] == '\0';
}

struct context {
    struct simulator *sim;
    struct sim_station *station;
    struct es_text *answer;
};

/* The longest beginning of what is left, ending with a word, that `known` accepts. Names hold digits
 * ("relay seat leaks to output 1"), so the first number does not end them. */
static bool take_name(struct words *w, bool (*known)(const char *name), char *out, size_t size)
{
    w->at += strspn(w->at, " \t");
    for (size_t length = strlen(w->at); length > 0; length--) {
        const bool word_ends = w->at[length] == '\0' || strchr(" \t", w->at[length]);
        if (!word_ends || strchr(" \t", w->at[length - 1]) || length >= size) {
            continue;
        }
        memcpy(out, w->at, length);
        out[length] = '\0';
        if (known(out)) {
            w->at += length;
            return true;
        }
    }
    return false;
}

static bool is_fault(const char *name)
{
    return es_virtual_fault_find(name) >= 0;
}

static enum es_role role_named(const char *name)
{
    char spaced[80];
    size_t i = 0;
    for (; i < sizeof spaced - 1 && name[i]; i++) {
        spaced[i] = name[i] == '-' ? ' ' : name[i];
    }
    spaced[i] = '\0';
    return es_role_find(spaced);
}

static bool is_role(const char *name)
{
    return role_named(name) != ES_ROLE_NONE;
}

static enum es_status set_fault(struct context *c, struct words *w, struct es_error *err)
{
    char name[80];
    struct es_virtual_fault_setting setting = {0};
    if (!take_name(w, is_fault, name, sizeof name)) {
        return es_fail(err, ES_NOT_FOUND, "no fault begins with \"%s\"; \"show faults\" lists them", w->at);
    }
    setting.fault = es_virtual_fault_find(name);
    if (!take_number(w, &setting.severity) || (!at_end(w) && !take_number(w, &setting.per_stroke)) ||
        !at_end(w)) {
        return es_fail(err, ES_USAGE,
                       "after the fault's name come its severity, 0 to 1, and perhaps its growth");
    }
    return es_virtual_fault_set(c->station->model, &setting, err);
}

static enum es_status set_role(struct context *c, struct words *w, struct es_error *err)
{
    char name[80];
    struct es_quantity quantity;
    if (!take_name(w, is_role, name, sizeof name)) {
        return es_fail(err, ES_NOT_FOUND, "no role begins with \"%s\"", w->at);
    }
    const enum es_role role = role_named(name);
    const char *text = w->at + strspn(w->at, " \t");
    const enum es_status s = es_quantity_parse_as(text, es_role_info(role)->dimension, &quantity, err);
    return s == ES_OK ? es_virtual_happen(c->station->model, role, quantity.value, err) : s;
}

static enum es_status do_set(struct context *c, struct words *w, struct es_error *err)
{
    struct words after = *w;
    if (is(next_word(&after), "fault")) {
        return set_fault(c, &after, err);
    }
    return set_role(c, w, err);
}

static enum es_status do_mount(struct context *c, struct words *w, struct es_error *err)
{
    char name[40];
    enum es_virtual_type type;
    double seed;
    const struct word given = next_word(w);
    if (given.length < sizeof name) {
        memcpy(name, given.text, given.length);
        name[given.length] = '\0';
    }
    if (given.length >= sizeof name || !es_virtual_type_find(name, &type) || !take_number(w, &seed) ||
        !(seed >= 0 && seed < 1e15) || !at_end(w)) {
        return es_fail(err, ES_USAGE, "after \"mount\" come a type, %s or %s, and a seed",
                       es_virtual_type_name(ES_VIRTUAL_LINEAR_SINGLE_ACTING),
                       es_virtual_type_name(ES_VIRTUAL_PART_TURN_DOUBLE_ACTING));
    }
    return sim_mount(c->sim, c->station, type, (uint64_t)seed, err);
}

/* "BUS SECONDS", or "BUS" alone when `optional`. Bus names may contain blanks: hyphens stand for them. */
static enum es_status take_bus(struct context *c, struct words *w, bool optional, struct sim_bus **bus,
                               es_time *until, struct es_error *err)
{
    double seconds = 0;
    const struct word name = next_word(w);
    *bus = NULL;
    for (size_t i = 0; i < c->sim->bus_count && !*bus; i++) {
        const char *known = c->sim->buses[i].about->name;
        size_t n = 0;
        while (n < name.length && known[n] &&
               (known[n] == name.text[n] || (known[n] == ' ' && name.text[n] == '-'))) {
            n++;
        }
        *bus = n == name.length && !known[n] ? &c->sim->buses[i] : NULL;
    }
    if (!*bus) {
        return es_fail(err, ES_NOT_FOUND, "there is no bus \"%.*s\"; \"show buses\" lists them",
                       (int)name.length, name.text);
    }
    if (!take_number(w, &seconds) && !(optional && at_end(w))) {
        return es_fail(err, ES_USAGE, "for how many seconds? A number is missing after the bus");
    }
    if (!(seconds >= 0 && seconds <= 1e6)) {
        return es_fail(err, ES_RANGE, "0 to 1000000 seconds");
    }
    *until = seconds > 0 ? es_clock_now() + es_from_seconds(seconds) : 0;
    return ES_OK;
}

static enum es_status end_of(const struct words *w, struct es_error *err)
{
    return at_end(w) ? ES_OK : es_fail(err, ES_USAGE, "not understood from here on: \"%s\"", w->at);
}

static enum es_status for_a_time(struct context *c, struct words *w, size_t field, struct es_error *err)
{
    struct sim_bus *bus;
    es_time until;
    enum es_status s = take_bus(c, w, false, &bus, &until, err);
    if (s == ES_OK) {
        s = end_of(w, err);
    }
    if (s == ES_OK) {
        memcpy((char *)&bus->trouble + field, &until, sizeof until);
    }
    return s;
}

static enum es_status do_silence(struct context *c, struct words *w, struct es_error *err)
{
    return for_a_time(c, w, offsetof(struct sim_trouble, silent_until), err);
}

static enum es_status do_corrupt(struct context *c, struct words *w, struct es_error *err)
{
    return for_a_time(c, w, offsetof(struct sim_trouble, corrupt_until), err);
}

static enum es_status do_refuse(struct context *c, struct words *w, struct es_error *err)
{
    return for_a_time(c, w, offsetof(struct sim_trouble, refuse_until), err);
}

static enum es_status do_delay(struct context *c, struct words *w, struct es_error *err)
{
    struct sim_bus *bus;
    es_time until;
    double by;
    const enum es_status s = take_bus(c, w, false, &bus, &until, err);
    if (s != ES_OK) {
        return s;
    }
    const struct word middle = next_word(w);
    if (!(is(middle, "by") || is(middle, "BY")) || !take_number(w, &by) || !(by >= 0 && by <= 3600) ||
        !at_end(w)) {
        return es_fail(err, ES_USAGE, "\"delay BUS SECONDS by SECONDS\", the second at most 3600");
    }
    bus->trouble.late_until = until;
    bus->trouble.late_by = es_from_seconds(by);
    return ES_OK;
}

static enum es_status do_disconnect(struct context *c, struct words *w, struct es_error *err)
{
    struct sim_bus *bus;
    es_time until;
    enum es_status s = take_bus(c, w, true, &bus, &until, err);
    if (s == ES_OK) {
        s = end_of(w, err);
    }
    if (s != ES_OK) {
        return s;
    }
    bus->trouble.away_until = until;
    return sim_bus_hang_up(bus, err);
}

static void show_faults(const struct context *c)
{
    for (int i = 0; i < (int)es_virtual_fault_count(); i++) {
        const struct es_virtual_fault *f = es_virtual_fault_get(i);
        if (es_virtual_fault_possible(i, c->station->config.type)) {
            es_text_printf(c->answer, "%-32s %-8s %.3g  %s\n", f->name, es_virtual_place_name(f->place),
                           es_virtual_fault_severity(c->station->model, i), f->meaning);
        }
    }
}

static void show_values(const struct context *c)
{
    const struct es_bench_station *about = c->station->about;
    for (size_t i = 0; i < about->channel_count; i++) {
        const struct es_bench_channel *channel = &about->channels[i];
        char reading[48], truth[48];
        es_quantity_format(es_virtual_reading(c->station->model, channel->role).value, channel->unit, 4,
                           reading, sizeof reading);
        es_quantity_format(es_virtual_truth(c->station->model, channel->role), channel->unit, 4, truth,
                           sizeof truth);
        es_text_printf(c->answer, "%-28s says %16s   is %16s\n", es_role_info(channel->role)->name, reading,
                       truth);
    }
}

static void show_buses(const struct context *c)
{
    for (size_t i = 0; i < c->sim->bus_count; i++) {
        char text[300];
        sim_bus_describe(&c->sim->buses[i], text, sizeof text);
        es_text_printf(c->answer, "%s, %llu requests, %llu answers\n", text,
                       (unsigned long long)c->sim->buses[i].requests,
                       (unsigned long long)c->sim->buses[i].answers);
    }
}

static enum es_status do_show(struct context *c, struct words *w, struct es_error *err)
{
    const struct word what = next_word(w);
    sim_advance(c->sim, es_clock_now());
    if (is(what, "faults")) {
        show_faults(c);
    } else if (is(what, "values")) {
        show_values(c);
    } else if (is(what, "buses")) {
        show_buses(c);
    } else {
        return es_fail(err, ES_USAGE, "\"show faults\", \"show values\" or \"show buses\"");
    }
    return end_of(w, err);
}

static enum es_status do_help(struct context *c, struct words *w, struct es_error *err)
{
    es_text_add(c->answer, sim_command_help);
    return end_of(w, err);
}

static enum es_status do_stop(struct context *c, struct words *w, struct es_error *err)
{
    c->sim->stop = true;
    return end_of(w, err);
}

static const struct {
    const char *name;
    enum es_status (*act)(struct context *c, struct words *w, struct es_error *err);
} commands[] = {
    {"set", do_set},         {"mount", do_mount},   {"silence", do_silence}, {"delay", do_delay},
    {"corrupt", do_corrupt}, {"refuse", do_refuse}, {"show", do_show},       {"disconnect", do_disconnect},
    {"help", do_help},       {"stop", do_stop},
};

enum es_status sim_command(struct simulator *sim, const char *line, struct es_text *answer,
                           struct es_error *err)
{
    struct words w = {line};
    struct context c = {sim, &sim->stations[0], answer};
    struct word verb = next_word(&w);
    sim_advance(sim, es_clock_now());
    if (is(verb, "station")) {
        const struct word name = next_word(&w);
        c.station = sim_station_find(sim, name.text, name.length);
        if (!c.station) {
            return es_fail(err, ES_NOT_FOUND, "no station \"%.*s\" is served", (int)name.length, name.text);
        }
        verb = next_word(&w);
    }
    if (verb.length == 0) {
        return ES_OK;
    }
    for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
        if (is(verb, commands[i].name)) {
            return commands[i].act(&c, &w, err);
        }
    }
    return es_fail(err, ES_USAGE, "\"%.*s\" is not a command; \"help\" lists them", (int)verb.length,
                   verb.text);
}
