#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/file.h"
#include "rig/base/text.h"
#include "rig/simulator/options.h"

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

static enum es_status first_commands(struct sim_control *control, const struct sim_options *o,
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

static enum es_status serve(struct simulator *sim, struct sim_control *control, const struct sim_options *o,
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

static enum es_status simulate(const struct sim_options *o, struct es_error *err)
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

static enum es_status tell(const struct sim_options *o, struct es_error *err)
{
    struct es_text command = {0}, answer = {0};
    for (size_t i = 0; i < o->word_count; i++) {
        es_text_printf(&command, "%s%s", i ? " " : "", o->words[i]);
    }
    enum es_status s = command.bytes && !command.out_of_memory
                           ? sim_tell(o->tell, command.bytes, &answer, err)
                           : es_fail(err, ES_NO_MEMORY, "no memory for the command");
    if (answer.bytes) {
        fputs(answer.bytes, stdout);
    }
    es_text_free(&command);
    es_text_free(&answer);
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
    struct sim_options o = {.setup = {.seed = 1, .speed = 1}};
    if (!standard_descriptors()) {
        return es_exit_status(ES_IO);
    }
    es_error_clear(&err);
    o.setup.faults = o.faults;
    enum es_status s = sim_options_parse(argc, argv, &o, &err);
    if (s == ES_OK && o.tell) {
        s = tell(&o, &err);
    } else if (s == ES_OK && !o.only_told) {
        prepare_signals();
        s = simulate(&o, &err);
    }
    if (s != ES_OK) {
        fprintf(stderr, "endstop-sim: %s\n", err.text);
    }
    return es_exit_status(s);
}
