/* Commands in plain English, one a line. The table is the only list of them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/virtual/air.h"
#include "rig/base/text.h"
#include "rig/simulator/simulator.h"
#include "rig/simulator/words.h"

const char sim_command_help[] =
    "Commands, one a line (at standard input, by --command, or at the --control socket):\n"
    "  set fault NAME SEVERITY [GROWTH]   severity 0 (none) to 1 (gross); growth with every full stroke\n"
    "  set ROLE VALUE                     emergency stop 0|1, guard 0|1, ambient temperature 25 degC, ...\n"
    "                                     an output, as another program would: supply valve 0, supply demand "
    "2 bar\n"
    "  set mains PRESSURE [CONDUCTANCE]   the air that all stations draw from; l/(s bar) ANR\n"
    "  mount TYPE SEED [OPTIONS]          another unit; the air starts from nothing. Options: without\n"
    "                                     feedback, with shut-down\n"
    "  silence WHERE SECONDS [SHARE]      no answer. WHERE: a bus or an instrument; SHARE of the requests\n"
    "  delay WHERE SECONDS by SECONDS [SHARE]   answers come this much later\n"
    "  corrupt WHERE SECONDS [SHARE]      one byte of each answer is wrong\n"
    "  cut WHERE SECONDS [SHARE]          answers end half-way\n"
    "  refuse WHERE SECONDS [SHARE]       Modbus: an exception; text lines: an error in the queue, no "
    "answer\n"
    "  disconnect BUS [SECONDS]           hangs up; comes back at once or after that time\n"
    "  heal [WHERE]                       ends all these\n"
    "  after SECONDS COMMAND              does it later\n"
    "  show faults | values | buses | supply   what there is\n"
    "  station NAME COMMAND               for that station; without it the first one is meant\n"
    "  help, stop\n"
    "A name with blanks may be written with hyphens instead.\n";

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

/* "6 bar", "6 bar 0.5": the pressure's text ends with its unit. */
static enum es_status set_mains(struct context *c, struct words *w, struct es_error *err)
{
    char text[64];
    struct es_quantity pressure;
    struct es_virtual_supply_inner now;
    const struct word number = next_word(w), unit = next_word(w);
    es_virtual_supply_look(c->sim->supply, &now);
    snprintf(text, sizeof text, "%.*s %.*s", (int)number.length, number.text, (int)unit.length, unit.text);
    const enum es_status s = es_quantity_parse_as(text, ES_DIM_PRESSURE, &pressure, err);
    if (s != ES_OK) {
        return s;
    }
    double conductance = now.conductance / ES_AIR_DM3_S_BAR;
    if (!at_end(w) && (!take_number(w, &conductance) || !at_end(w))) {
        return es_fail(err, ES_USAGE,
                       "\"set mains PRESSURE [CONDUCTANCE]\", in l/(s bar): set mains 6 bar 0.5");
    }
    return es_virtual_supply_set(c->sim->supply, pressure.value, conductance * ES_AIR_DM3_S_BAR, err);
}

static enum es_status do_set(struct context *c, struct words *w, struct es_error *err)
{
    struct words after = *w;
    const struct word what = next_word(&after);
    if (word_is(what, "fault")) {
        return set_fault(c, &after, err);
    }
    if (word_is(what, "mains")) {
        return set_mains(c, &after, err);
    }
    return set_role(c, w, err);
}

static bool take_type(struct words *w, enum es_virtual_type *type)
{
    char name[40];
    const struct word given = next_word(w);
    if (given.length >= sizeof name) {
        return false;
    }
    memcpy(name, given.text, given.length);
    name[given.length] = '\0';
    return es_virtual_type_find(name, type);
}

static bool take_unit_option(struct words *w, struct sim_unit *unit)
{
    const struct word how = next_word(w), what = next_word(w);
    const bool with = word_is(how, "with");
    if (with && word_is(what, "shut-down")) {
        unit->shutdown_module = true;
        return true;
    }
    unit->without_feedback = true;
    return !with && word_is(how, "without") && word_is(what, "feedback");
}

static enum es_status do_mount(struct context *c, struct words *w, struct es_error *err)
{
    struct sim_unit unit = {0};
    double seed;
    bool good = take_type(w, &unit.type) && take_number(w, &seed) && seed >= 0 && seed < 1e15;
    while (good && !at_end(w)) {
        good = take_unit_option(w, &unit);
    }
    if (good) {
        return sim_mount(c->sim, c->station, &unit, (uint64_t)seed, err);
    }
    struct es_text types = {0};
    for (int i = 0; i < ES_VIRTUAL_TYPE_COUNT; i++) {
        es_text_printf(&types, "%s%s", i ? ", " : "", es_virtual_type_name((enum es_virtual_type)i));
    }
    const enum es_status s = es_fail(
        err, ES_USAGE,
        "after \"mount\" come a type (%s), a seed, and perhaps \"without feedback\", \"with shut-down\"",
        types.bytes ? types.bytes : "");
    es_text_free(&types);
    return s;
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

static void show_supply(const struct context *c)
{
    struct es_virtual_supply_inner in;
    es_virtual_supply_look(c->sim->supply, &in);
    es_text_printf(c->answer, "mains %.3f bar, line %.3g l/(s bar), header %.3f bar\n", in.mains / 1e5,
                   in.conductance / ES_AIR_DM3_S_BAR, in.pressure / 1e5);
}

static enum es_status do_show(struct context *c, struct words *w, struct es_error *err)
{
    const struct word what = next_word(w);
    sim_advance(c->sim, es_clock_now());
    if (word_is(what, "faults")) {
        show_faults(c);
    } else if (word_is(what, "values")) {
        show_values(c);
    } else if (word_is(what, "buses")) {
        sim_show_buses(c->sim, c->answer);
    } else if (word_is(what, "supply")) {
        show_supply(c);
    } else {
        return es_fail(err, ES_USAGE, "\"show faults\", \"show values\", \"show buses\" or \"show supply\"");
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
    enum es_status (*act)(struct context *c, struct words *w, struct es_error *err); /* NULL: trouble.c's */
} commands[] = {
    {"set", do_set},      {"mount", do_mount}, {"silence", NULL}, {"delay", NULL},
    {"corrupt", NULL},    {"cut", NULL},       {"refuse", NULL},  {"show", do_show},
    {"disconnect", NULL}, {"heal", NULL},      {"help", do_help}, {"stop", do_stop},
};

enum es_status sim_command(struct simulator *sim, const char *line, struct es_text *answer,
                           struct es_error *err)
{
    struct words w = {line};
    struct context c = {sim, &sim->stations[0], answer};
    struct word verb = next_word(&w);
    sim_advance(sim, es_clock_now());
    if (word_is(verb, "station")) {
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
        if (word_is(verb, commands[i].name)) {
            return commands[i].act ? commands[i].act(&c, &w, err)
                                   : sim_trouble_command(sim, commands[i].name, &w, err);
        }
    }
    return es_fail(err, ES_USAGE, "\"%.*s\" is not a command; \"help\" lists them", (int)verb.length,
                   verb.text);
}
