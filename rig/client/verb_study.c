#include <errno.h>
#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/signalfd.h>
#include <unistd.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/base/file.h"
#include "rig/base/number.h"
#include "rig/client/verb.h"
#include "rig/study/report.h"
#include "rig/study/study.h"

struct arguments {
    struct es_option_list types, benches, faults;
    const char *plan, *seed, *learn, *keep, *table;
    long units, threads, one, truths, truths_faulty;
    double good, low, high;
    bool mattering, json, csv;
};

#define AT(member) .offset = offsetof(struct arguments, member)

static const struct es_option options[] = {
    {.name = "units",
     .value = "N",
     .kind = ES_OPTION_INTEGER,
     AT(units),
     .min = 1,
     .max = 10000000,
     .meaning = "how many virtual units; 2000 when not given"},
    {.name = "seed",
     .value = "NUMBER",
     .kind = ES_OPTION_TEXT,
     AT(seed),
     .meaning = "the same seed gives the same report, whatever the number of threads; 1 when not given"},
    {.name = "plan",
     .value = "PLAN",
     .kind = ES_OPTION_TEXT,
     AT(plan),
     .meaning = "test plan or procedure, by name or file; \"after-relay-swap\" when not given"},
    {.name = "type",
     .value = "TYPE",
     .kind = ES_OPTION_LIST,
     AT(types),
     .meaning =
         "type sheet, by name or file; several take turns. Without: the shipped ones of complete units"},
    {.name = "bench",
     .value = "FILE",
     .kind = ES_OPTION_LIST,
     AT(benches),
     .meaning =
         "bench file, by name or file: its instruments and uncertainties; each type takes the first that "
         "can carry it. Without: the shipped virtual benches"},
    {.name = "fault",
     .value = "NAME",
     .kind = ES_OPTION_LIST,
     AT(faults),
     .meaning = "only this fault of the virtual bench; may be given several times"},
    {.name = "good",
     .value = "SHARE",
     .kind = ES_OPTION_QUANTITY,
     AT(good),
     .min = 0,
     .max = 1,
     .dimension = ES_DIM_RATIO,
     .meaning = "share of units without a fault: \"40 %\" when not given"},
    {.name = "from",
     .value = "SEVERITY",
     .kind = ES_OPTION_QUANTITY,
     AT(low),
     .min = 0,
     .max = 1,
     .dimension = ES_DIM_NUMBER,
     .meaning = "lowest severity of faults; 0 when not given"},
    {.name = "to",
     .value = "SEVERITY",
     .kind = ES_OPTION_QUANTITY,
     AT(high),
     .min = 0,
     .max = 1,
     .dimension = ES_DIM_NUMBER,
     .meaning = "highest severity of faults; 1 when not given"},
    {.name = "mattering",
     .kind = ES_OPTION_FLAG,
     AT(mattering),
     .meaning = "only severities from where each fault matters in service: what a table is learned on"},
    {.name = "threads",
     .value = "N",
     .kind = ES_OPTION_INTEGER,
     AT(threads),
     .min = 1,
     .max = ES_STUDY_THREADS_MAX,
     .meaning = "how many units at once; one a core when not given"},
    {.name = "coverage",
     .value = "N",
     .kind = ES_OPTION_INTEGER,
     AT(truths),
     .min = 0,
     .max = 10000000,
     .meaning =
         "hold the uncertainty intervals of so many good units of each type against the truth; 300 when not "
         "given, 0 for none"},
    {.name = "coverage-faulty",
     .value = "N",
     .kind = ES_OPTION_INTEGER,
     AT(truths_faulty),
     .min = 0,
     .max = 10000000,
     .meaning =
         "the same for those of the first so many faulty units of each type whose fault is not the bench's; "
         "0 when not given"},
    {.name = "unit",
     .value = "INDEX",
     .kind = ES_OPTION_INTEGER,
     AT(one),
     .min = 0,
     .max = 10000000,
     .meaning = "run this unit of the study alone and print its lines"},
    {.name = "learn",
     .value = "FILE",
     .kind = ES_OPTION_TEXT,
     AT(learn),
     .meaning = "write what was learned: how each fault shows in each line, for likely causes"},
    {.name = "keep",
     .value = "FILE",
     .kind = ES_OPTION_TEXT,
     AT(keep),
     .meaning = "with --learn: write what this table knows of other plans, too; may be the same file"},
    {.name = "table",
     .value = "FILE",
     .kind = ES_OPTION_TEXT,
     AT(table),
     .meaning =
         "hold this table, learned with another seed, against the study: is the first-named cause right?"},
    {.name = "json", .kind = ES_OPTION_FLAG, AT(json), .meaning = "print for programs"},
    {.name = "csv", .kind = ES_OPTION_FLAG, AT(csv), .meaning = "print one row a unit as CSV"},
};

static const struct es_command_line line = {
    .program = "endstop study",
    .summary = "runs many virtual units, good and faulty, through a plan and says how good the test is",
    .detail =
        "Each unit is tested as a real one would be, by the same engine, measures and judgement, on a "
        "virtual "
        "bench in virtual time. The report says how many good units fail, which faults are found from which "
        "severity, whether faults of the bench are blamed on the unit, and whether the uncertainty intervals "
        "cover the truth. What is counted how is said in docs/study.md. Exit status: 0 when the study was "
        "done, whatever it came to.",
    .example = "endstop study --units 2000 --seed 7",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
};

struct watcher {
    bool terminal;
    int signals; /* signalfd of SIGINT and SIGTERM */
    size_t last; /* tenths told, where the line is no terminal */
};

static void show_progress(void *self, size_t done, size_t units, double elapsed)
{
    struct watcher *w = self;
    char left[ES_NUMBER_SIZE];
    es_number_duration(done > 0 ? elapsed * (double)(units - done) / (double)done : NAN, left);
    if (w->terminal) {
        fprintf(stderr, "\rstudy: %zu of %zu units, %s left        ", done, units, left);
        if (done == units)
            fputs("\r\033[K", stderr);
        fflush(stderr);
    } else if (done * 10 / units > w->last) {
        w->last = done * 10 / units;
        fprintf(stderr, "study: %zu of %zu units, %s left\n", done, units, left);
    }
}

static bool asked_to_stop(void *self)
{
    const struct watcher *w = self;
    struct signalfd_siginfo info;
    return read(w->signals, &info, sizeof info) == (ssize_t)sizeof info;
}

/* The files that the order names, allocated. */
struct names {
    char *plan, *types[ES_STUDY_TYPES_MAX], *benches[ES_STUDY_TYPES_MAX];
};

static void free_names(struct names *n)
{
    free(n->plan);
    for (size_t i = 0; i < ES_STUDY_TYPES_MAX; i++) {
        free(n->types[i]);
        free(n->benches[i]);
    }
}

/* `otherwise` ends with NULL. */
static enum es_status find_all(const struct es_option_list *given, const char *const *otherwise,
                               const char *folder, char **found, const char **out, size_t *count,
                               struct es_error *err)
{
    enum es_status s = ES_OK;
    const char *const *from = given->count > 0 ? given->items : otherwise;
    size_t wanted = given->count;
    while (given->count == 0 && otherwise[wanted] != NULL)
        wanted++;
    if (wanted > ES_STUDY_TYPES_MAX)
        return es_fail(err, ES_USAGE, "at most %d types and benches", ES_STUDY_TYPES_MAX);
    for (size_t i = 0; i < wanted && s == ES_OK; i++) {
        s = es_find_file(from[i], folder, ".json", &found[i], err);
        out[i] = found[i];
    }
    *count = wanted;
    return s;
}

static enum es_status make_order(const struct arguments *a, struct names *names, struct es_study_order *o,
                                 struct es_error *err)
{
    static const char *const types[] = {"linear-single-acting",    "part-turn-double-acting",
                                        "linear-double-acting",    "linear-single-acting-plain",
                                        "part-turn-single-acting", NULL};
    static const char *const benches[] = {"virtual-bench", "virtual-bench-part-turn", "virtual-bench-relay",
                                          NULL};
    char *end = NULL;
    *o = (struct es_study_order){.units = (size_t)a->units,
                                 .threads = (unsigned)a->threads,
                                 .good_share = a->good,
                                 .severity_low = a->low,
                                 .severity_high = a->high,
                                 .mattering = a->mattering,
                                 .truths = (size_t)a->truths,
                                 .truths_faulty = (size_t)a->truths_faulty,
                                 .fault_count = a->faults.count};
    o->seed = strtoull(a->seed, &end, 10);
    if (*a->seed < '0' || *a->seed > '9' || *end != '\0')
        return es_fail(err, ES_USAGE, "--seed is a whole number, not \"%s\"", a->seed);
    for (size_t i = 0; i < a->faults.count; i++)
        o->faults[i] = a->faults.items[i];
    enum es_status s = es_find_file(a->plan, ES_DATA_DIR "/library", ".plan.json", &names->plan, err);
    if (s == ES_NOT_FOUND)
        s = es_find_file(a->plan, ES_DATA_DIR "/library", ".json", &names->plan, err);
    o->plan = names->plan;
    if (s == ES_OK)
        s = find_all(&a->types, types, ES_DATA_DIR "/types", names->types, o->types, &o->type_count, err);
    if (s == ES_OK)
        s = find_all(&a->benches, benches, ES_DATA_DIR "/benches", names->benches, o->benches,
                     &o->bench_count, err);
    return s;
}

static void print_causes(const struct es_detection *table, const struct es_causes *causes,
                         const struct es_seen *seen)
{
    printf("no fault: %.3f\n", causes->no_fault);
    for (size_t i = 0; i < causes->count; i++) {
        const struct es_cause *c = &causes->items[i];
        printf("%s (%s): %.3f\n", table->causes[c->index].name,
               es_virtual_place_name((enum es_virtual_place)table->causes[c->index].place), c->probability);
        for (size_t k = 0; k < c->evidence_count; k++) {
            char text[300];
            es_evidence_say(&c->evidence[k], seen, text, sizeof text);
            printf("  %s\n", text);
        }
    }
    if (causes->check != NULL)
        printf("next check: %s %s\n", causes->check->text, causes->check->caution);
}

static enum es_status rank_one(const struct es_detection *table, const struct es_outcome *o,
                               struct es_error *err)
{
    struct es_causes causes;
    struct es_seen *seen = calloc(o->line_count + 1, sizeof *seen);
    if (seen == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to rank causes");
    for (size_t i = 0; i < o->line_count; i++)
        seen[i] = es_seen_of_line(&o->lines[i]);
    enum es_status s = es_causes_rank(table, o->plan, o->type, seen, o->line_count, NULL, &causes, err);
    if (s == ES_OK)
        print_causes(table, &causes, seen);
    free(seen);
    return s;
}

static enum es_status print_one(const struct es_study *study, size_t index, const struct es_detection *table,
                                struct es_error *err)
{
    struct es_study_unit unit;
    struct es_outcome o;
    enum es_status s = es_study_one(study, index, &unit, &o, err);
    if (s != ES_OK)
        return s;
    printf("unit %zu (%s %.3f): %s%s%s\n", index, es_study_fault_name(unit.fault), unit.severity,
           o.completed ? es_verdict_word(o.verdict) : "not completed", o.ended_because != NULL ? ": " : "",
           o.ended_because != NULL ? o.ended_because : "");
    for (size_t i = 0; i < o.line_count; i++) {
        const struct es_line *l = &o.lines[i];
        printf("%-18s %-44s %-12s", l->procedure, l->measurand, es_verdict_word(l->verdict));
        if (l->value.valid)
            printf(" %.6g +- %.3g %s", es_to_unit(l->value.value, l->limit.unit),
                   es_to_unit_difference(l->value.U, l->limit.unit), l->limit.unit->name);
        if (i < study->types[unit.type].slot_count && unit.values[i].has_truth)
            printf("  truth %.6g", es_to_unit(unit.values[i].truth, l->limit.unit));
        printf("%s%s\n", l->reason != NULL ? "  " : "", l->reason != NULL ? l->reason : "");
    }
    if (table != NULL)
        s = rank_one(table, &o, err);
    es_outcome_free(&o);
    es_study_unit_free(study, &unit);
    return s;
}

/* `other` NULL: nothing else is kept. */
static enum es_status learn(const struct es_study *study, struct es_detection *other, const char *file,
                            struct es_error *err)
{
    struct es_detection *table = NULL;
    struct es_text text = {0};
    enum es_status s = es_study_learn(study, &table, err);
    if (s == ES_OK && other != NULL)
        s = es_detection_keep(table, other, err);
    if (s == ES_OK)
        s = es_detection_write(table, &text, err);
    if (s == ES_OK)
        s = es_file_write(NULL, file, ES_FILE_REPLACE, 0644, text.bytes, text.length, err);
    es_text_free(&text);
    es_detection_free(table);
    return s;
}

static enum es_status print(const struct arguments *a, const struct es_screen *screen,
                            const struct es_study *study, const struct es_detection *table,
                            struct es_error *err)
{
    struct es_study_summary summary;
    struct es_study_naming naming;
    struct es_text json = {0};
    enum es_status s = table != NULL ? es_study_name_causes(study, table, &naming, err) : ES_OK;
    if (s == ES_OK)
        s = es_study_summarise(study, &summary, err);
    if (s != ES_OK)
        return s;
    if (a->json) {
        s = es_study_report_json(study, &summary, table != NULL ? &naming : NULL, &json, err);
        if (s == ES_OK)
            printf("%s\n", json.bytes);
    } else {
        s = es_study_report_table(study, &summary, table != NULL ? &naming : NULL, screen->width,
                                  screen->colour, stdout, err);
    }
    es_text_free(&json);
    es_study_summary_clear(&summary);
    return s;
}

static enum es_status run_study(const struct arguments *a, const struct es_screen *screen,
                                struct es_study *study, const struct es_detection *table,
                                struct es_detection *kept, struct es_error *err)
{
    struct watcher watcher = {.terminal = screen->err_terminal};
    const struct es_study_watch watch = {&watcher, show_progress, asked_to_stop};
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    /* Blocked before the study's threads start: they inherit it, and only the signalfd hears of them. */
    if (sigprocmask(SIG_BLOCK, &set, NULL) != 0 ||
        (watcher.signals = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK)) < 0)
        return es_fail_errno(err, errno, "ctrl-C could not be prepared for");
    const es_time began = es_clock_now();
    enum es_status s = es_study_run(study, &watch, err);
    close(watcher.signals);
    if (s != ES_OK)
        return s;
    const double took = es_seconds(es_clock_now() - began);
    fprintf(stderr, "study: %zu units in %.1f s, %.0f times real time\n", study->order.units, took,
            study->bench_seconds / took);
    if (a->learn != NULL)
        s = learn(study, kept, a->learn, err);
    if (s == ES_OK && a->csv)
        es_study_units_csv(study, stdout);
    else if (s == ES_OK)
        s = print(a, screen, study, table, err);
    return s;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {.plan = "after-relay-swap",
                          .seed = "1",
                          .units = 2000,
                          .one = -1,
                          .truths = 300,
                          .good = 0.4,
                          .low = 0,
                          .high = 1};
    int status;
    if (!es_verb_begin(&es_verb_study, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct es_findings findings = {0};
    struct names names = {0};
    struct es_study_order order;
    struct es_study *study = NULL;
    struct es_detection *table = NULL, *kept = NULL;
    enum es_status s =
        a.json && a.csv ? es_fail(&err, ES_USAGE, "--json and --csv exclude each other") : ES_OK;
    if (s == ES_OK && a.keep != NULL && a.learn == NULL)
        s = es_fail(&err, ES_USAGE, "--keep goes with --learn");
    if (s == ES_OK && a.learn != NULL)
        s = es_file_may_be_written(a.learn, &err);
    if (s == ES_OK)
        s = make_order(&a, &names, &order, &err);
    if (s == ES_OK)
        s = es_study_new(&order, &findings, &study, &err);
    if (s == ES_OK && a.table != NULL)
        s = es_detection_load(a.table, &findings, &table, &err);
    if (s == ES_OK && a.keep != NULL)
        s = es_detection_load(a.keep, &findings, &kept, &err);
    if (s == ES_OK)
        s = a.one >= 0 ? print_one(study, (size_t)a.one, table, &err)
                       : run_study(&a, screen, study, table, kept, &err);
    status = s == ES_OK ? es_verb_end(&es_verb_study, 0) : es_verb_fail(&es_verb_study, &err, &findings);
    es_detection_free(table);
    es_detection_free(kept);
    es_study_free(study);
    free_names(&names);
    es_findings_free(&findings);
    return status;
}

const struct es_verb es_verb_study = {.line = &line, .name = "study", .run = run};
