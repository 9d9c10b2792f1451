/* endstopd: runs test plans at the stations of one bench. Order of its life, walked backwards at the end:
 *
 *   options -> signals blocked -> [background] -> bench file -> state folder locked -> bench made safe
 *   -> key -> interrupted runs settled -> socket -> serving
 *   signal  -> runs stopped, stations safe, papers written -> clients told -> bench closed -> end */
#include <errno.h>
#include <grp.h>
#include <signal.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <sys/signalfd.h>
#include <unistd.h>

#include "procedures/judgement/detection.h"
#include "rig/base/text.h"
#include "rig/console/display.h"
#include "rig/console/options.h"
#include "rig/daemon/background.h"
#include "rig/daemon/courier.h"
#include "rig/daemon/server.h"

#define DEFAULT_SOCKET "/run/endstop/endstopd.sock"

struct arguments {
    const char *bench, *state, *socket, *types, *library, *table, *key, *prefix, *laboratory, *address,
        *group, *level, *archive, *passphrase_file;
    double grace;
    bool foreground, version;
};

#define ROW(n, word, need, member, text)                                                                     \
    {                                                                                                        \
        .name = (n), .value = (word), .kind = ES_OPTION_TEXT, .required = (need),                            \
        .offset = offsetof(struct arguments, member), .meaning = (text)                                      \
    }
#define FLAG(n, member, text) ES_FLAG_OPTION(struct arguments, n, member, text)

static const struct es_option options[] = {
    ROW("bench", "FILE", true, bench, "the bench file"),
    ROW("state", "DIR", true, state, "folder for keys, certificates, runs and recordings; made when missing"),
    ROW("socket", "PATH", false, socket, "where clients connect; else " DEFAULT_SOCKET),
    ROW("group", "NAME", false, group, "members of this group may connect too; else only this user and root"),
    ROW("types", "DIR", false, types, "folder of type sheets; else " ES_DATA_DIR "/types"),
    ROW("library", "DIR", false, library,
        "folder of test plans and procedures; else " ES_DATA_DIR "/library"),
    ROW("table", "FILE", false, table,
        "what a study learned, for likely causes (endstop study --learn); else " ES_DATA_DIR
        "/detection.json, and without it certificates name no causes"),
    ROW("key", "FILE", false, key, "private signing key; else DIR/keys/bench.pem of the state folder"),
    ROW("passphrase-file", "FILE", false, passphrase_file,
        "the key's passphrase is the first line of FILE, which only the daemon's user may read"),
    ROW("prefix", "TEXT", false, prefix,
        "first part of certificate numbers; else made from the bench's name"),
    ROW("laboratory", "TEXT", false, laboratory, "who runs the bench, for the certificates"),
    ROW("laboratory-address", "TEXT", false, address, "where that is"),
    {.name = "grace",
     .value = "TIME",
     .kind = ES_OPTION_QUANTITY,
     .dimension = ES_DIM_TIME,
     .min = 1,
     .max = 3600,
     .offset = offsetof(struct arguments, grace),
     .meaning =
         "an attended run whose operator's connection is gone for longer is stopped and made safe; else "
         "\"30 s\""},
    ROW("archive", "ADDRESS", false, archive,
        "where certificates are sent for questions over many: a file, or postgresql://... that several "
        "benches share; "
        "else DIR/archive.db of the state folder"),
    ROW("log", "LEVEL", false, level, "error, warning, notice, info or debug; else notice"),
    FLAG("foreground", foreground, "stay in the foreground, log to standard error"),
    FLAG("version", version, "print the version and end"),
};

static const struct es_command_line command_line = {
    .program = "endstopd",
    .summary = "runs test plans at the stations of one bench",
    .detail =
        "First it makes the bench safe and lists runs that were interrupted as not completed; then it serves "
        "clients at its socket. SIGTERM or SIGINT stop runs that are under way, make every station safe and "
        "end "
        "it. This program is no safety device: the bench needs its own emergency stop, relief valve and "
        "guard.",
    .example = "endstopd --bench bench.json --state /var/lib/endstop",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
};

/* All that lives as long as the daemon. */
struct daemon {
    struct arguments a;
    struct es_log log;
    gid_t group;
    int ready; /* of the background; -1 in the foreground, and after it was told */
    int signals;
    struct es_bench *bench;
    struct es_detection *table; /* NULL: none */
    struct es_live *live;
    struct es_office *office;
    struct es_server *server;
    struct es_control *control;
    struct es_courier *courier;
};

static void live_log(void *self, const char *line)
{
    es_log(self, ES_LOG_NOTICE, "%s", line);
}

static enum es_status block_signals(struct daemon *d, struct es_error *err)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGHUP);
    struct sigaction ignore = {.sa_handler = SIG_IGN};
    if (sigaction(SIGPIPE, &ignore, NULL) != 0 || pthread_sigmask(SIG_BLOCK, &set, NULL) != 0)
        return es_fail_errno(err, errno, "signals could not be set");
    sigdelset(&set, SIGHUP); /* a closed terminal ends nothing: it stays blocked */
    d->signals = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
    return d->signals >= 0 ? ES_OK : es_fail_errno(err, errno, "signals could not be taken");
}

static enum es_status find_group(struct daemon *d, struct es_error *err)
{
    d->group = (gid_t)-1;
    if (d->a.group == NULL)
        return ES_OK;
    struct group entry, *found = NULL;
    char buffer[16384];
    if (getgrnam_r(d->a.group, &entry, buffer, sizeof buffer, &found) != 0 || found == NULL)
        return es_fail(err, ES_NOT_FOUND, "there is no group \"%s\" (--group)", d->a.group);
    d->group = found->gr_gid;
    return ES_OK;
}

static enum es_status load_bench(struct daemon *d, struct es_error *err)
{
    struct es_findings findings = {0};
    enum es_status s = es_bench_load(d->a.bench, &findings, &d->bench, err);
    if (findings.count > 0) { /* they stand above, each with its place */
        es_findings_print(&findings, stderr);
        s = es_fail(err, s, "%s cannot be accepted; nothing was moved", d->a.bench);
    }
    es_findings_free(&findings);
    return s;
}

/* Without a table of its own, and none installed, certificates go without likely causes; one that was asked
 * for must be there. */
static enum es_status load_table(struct daemon *d, struct es_error *err)
{
    struct es_findings findings = {0};
    const char *path = d->a.table != NULL ? d->a.table : ES_DATA_DIR "/detection.json";
    enum es_status s = es_detection_load(path, &findings, &d->table, err);
    if (findings.count > 0)
        es_findings_print(&findings, stderr);
    es_findings_free(&findings);
    if (s == ES_OK) {
        es_office_take_table(d->office, d->table);
        return ES_OK;
    }
    if (d->a.table != NULL || s != ES_NOT_FOUND)
        return es_error_context(err, s, "%s cannot be accepted; nothing was moved", path);
    es_log(&d->log, ES_LOG_NOTICE, "there is no %s: certificates will name no likely causes", path);
    return ES_OK;
}

/* The bench is made safe even when the state folder cannot be used, unless another daemon has it: that one
 * looks after the bench. */
static enum es_status open_state_and_bench(struct daemon *d, struct es_error *err)
{
    struct es_office_options office = {
        .state = d->a.state,
        .key = d->a.key,
        .passphrase_file = d->a.passphrase_file,
        .prefix = d->a.prefix,
        .laboratory = d->a.laboratory,
        .laboratory_address = d->a.address,
        .bench = d->bench,
        .log = &d->log,
    };
    enum es_status s = es_office_open(&office, &d->office, err);
    if (s == ES_REFUSED)
        return s;
    struct es_error live_err;
    struct es_live_options live = {.log = live_log, .log_self = &d->log};
    enum es_status live_s = es_live_open(d->bench, &live, &d->live, &live_err);
    if (live_s == ES_OK)
        return s;
    if (s == ES_OK) {
        *err = live_err;
        return live_s;
    }
    es_log(&d->log, ES_LOG_ERROR, "the bench could not be opened: %s", live_err.text);
    return s;
}

/* The stations log what they reach; what they do not reach is worth saying again, last. */
static void log_unsafe_stations(struct daemon *d)
{
    for (size_t i = 0; i < d->bench->station_count; i++) {
        struct es_station_status status;
        es_station_status(es_live_station(d->live, d->bench->stations[i].name), &status);
        if (!status.safe.reached)
            es_log(&d->log, ES_LOG_ERROR, "station %s is NOT proved safe: %s", status.name,
                   status.safe.sentence);
    }
}

static enum es_status start(struct daemon *d, struct es_error *err)
{
    enum es_status s = block_signals(d, err);
    if (s == ES_OK)
        s = find_group(d, err);
    if (s == ES_OK)
        s = load_bench(d, err);
    if (s == ES_OK)
        s = open_state_and_bench(d, err);
    if (s != ES_OK)
        return s;
    log_unsafe_stations(d);
    s = load_table(d, err);
    if (s == ES_OK)
        s = es_office_take_key(d->office, err);
    size_t interrupted = 0;
    if (s == ES_OK)
        s = es_office_settle_interrupted(d->office, &interrupted, err);
    if (s == ES_OK)
        s = es_server_open(d->a.socket, d->group, &d->log, &d->server, err);
    if (s != ES_OK)
        return s;
    struct es_control_options control = {
        .bench = d->bench,
        .live = d->live,
        .office = d->office,
        .state = d->a.state,
        .library = d->a.library,
        .types = d->a.types,
        .grace = d->a.grace,
        .wake = es_server_wake,
        .wake_self = d->server,
        .log = &d->log,
    };
    s = es_control_new(&control, &d->control, err);
    return s == ES_OK ? es_courier_start(d->a.state, d->a.archive, &d->log, &d->courier, err) : s;
}

static enum es_status tell_ready(struct daemon *d, struct es_error *err)
{
    es_log(&d->log, ES_LOG_NOTICE, "endstopd %s serves bench \"%s\" at %s", ES_VERSION, d->bench->name,
           d->a.socket);
    if (d->ready < 0)
        return ES_OK;
    struct es_text log = {0};
    es_text_printf(&log, "%s/endstopd.log", d->a.state);
    enum es_status s = es_text_status(&log, err);
    if (s == ES_OK) {
        s = es_background_ready(d->ready, log.bytes, err);
        d->ready = -1;
    }
    es_text_free(&log);
    return s;
}

static enum es_status serve(struct daemon *d, struct es_error *err)
{
    int signal = 0;
    enum es_status s = tell_ready(d, err);
    if (s == ES_OK)
        s = es_server_run(d->server, d->control, d->signals, false, &signal, err);
    if (s == ES_OK)
        es_log(&d->log, ES_LOG_NOTICE, "signal %s: ending", strsignal(signal));
    es_control_end(d->control);
    if (s == ES_OK)
        s = es_server_run(d->server, d->control, d->signals, true, &signal, err);
    return s;
}

static void stop(struct daemon *d)
{
    if (d->server != NULL)
        es_server_drain(d->server, 1.0);
    es_control_free(d->control);
    if (d->live != NULL)
        es_live_close(d->live);
    es_server_close(d->server);
    es_courier_stop(d->courier);
    es_office_close(d->office);
    es_detection_free(d->table);
    es_bench_free(d->bench);
    if (d->signals >= 0)
        close(d->signals);
}

static enum es_status read_arguments(struct daemon *d, int argc, char **argv, bool *done,
                                     struct es_error *err)
{
    /* --version and --help work without the options that a start needs. */
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--version") == 0) {
            printf("endstopd %s\n", ES_VERSION);
            *done = true;
            return ES_OK;
        }
    }
    bool help = false;
    enum es_status s = es_options_parse(&command_line, argc - 1, argv + 1, &d->a, &help, err);
    if (s == ES_OK && help) {
        es_options_help(&command_line, 80, stdout);
        *done = true;
        return ES_OK;
    }
    enum es_log_level level = ES_LOG_NOTICE;
    if (s == ES_OK && d->a.level != NULL && !es_log_level_find(d->a.level, &level))
        s = es_fail(err, ES_USAGE, "--log takes error, warning, notice, info or debug, not \"%s\"",
                    d->a.level);
    d->log = es_log_to_stderr(level);
    return s;
}

int main(int argc, char **argv)
{
    struct es_error err = {0};
    struct daemon d = {.a = {.socket = DEFAULT_SOCKET,
                             .types = ES_DATA_DIR "/types",
                             .library = ES_DATA_DIR "/library",
                             .grace = 30},
                       .ready = -1,
                       .signals = -1};
    (void)es_display_start();
    bool done = false;
    enum es_status s = read_arguments(&d, argc, argv, &done, &err);
    if (done)
        return 0;
    if (s == ES_OK && sodium_init() < 0)
        s = es_fail(&err, ES_INTERNAL, "the cryptographic library could not be started");
    if (s == ES_OK && !d.a.foreground)
        s = es_background_begin(&d.ready, &err);
    if (s == ES_OK)
        s = start(&d, &err);
    if (s == ES_OK)
        s = serve(&d, &err);
    stop(&d);
    if (s != ES_OK) {
        fprintf(stderr, "endstopd: %s\n", err.text);
        if (s == ES_USAGE)
            es_options_usage(&command_line, stderr);
        if (d.ready >= 0)
            es_background_failed(d.ready, es_exit_status(s));
    }
    return es_exit_status(s);
}
