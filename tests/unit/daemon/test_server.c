/* The daemon's rooms together over a real socket, with a fake station behind them: what several clients see,
 * and that nothing any of them does, and nothing the station does, holds up another. */
#include <criterion/criterion.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "rig/daemon/server.h"
#include "tests/unit/daemon/fake_station.h"

struct house {
    char folder[64], path[96], library[96];
    struct es_office *office;
    struct es_server *server;
    struct es_control *control;
    pthread_t thread;
    int end[2]; /* read as a signalfd would be */
};

static void *serve(void *self)
{
    struct house *h = self;
    int signal = 0;
    struct es_error err;
    cr_assert_eq(es_server_run(h->server, h->control, h->end[0], false, &signal, &err), ES_OK);
    es_control_end(h->control);
    cr_assert_eq(es_server_run(h->server, h->control, h->end[0], true, &signal, &err), ES_OK);
    es_server_drain(h->server, 1);
    return NULL;
}

static void make_key(const char *state)
{
    struct es_store *store;
    struct es_public_key key;
    struct es_error err;
    cr_assert_eq(es_store_open(state, ES_STORE_WRITE, &store, &err), ES_OK, "%s", err.text);
    const struct es_store_key_order order = {.who = "A. Example", .when = "2026-02-03T08:00:00Z"};
    cr_assert_eq(es_store_key_create(store, &order, &key, &err), ES_OK, "%s", err.text);
    es_store_close(store);
}

/* Names only: the fake runtime reads no files. */
static void make_library(struct house *h)
{
    static const char *const names[] = {"p.plan.json", "t.json", "t2.json", ".hidden.json", "notes.txt"};
    snprintf(h->library, sizeof h->library, "%s/library", h->folder);
    cr_assert_eq(mkdir(h->library, 0700), 0);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char path[160];
        snprintf(path, sizeof path, "%s/%s", h->library, names[i]);
        FILE *f = fopen(path, "w");
        cr_assert_not_null(f);
        cr_assert_eq(fclose(f), 0);
    }
}

static void open_house(struct house *h, double grace)
{
    struct es_error err = {0};
    cr_assert_geq(sodium_init(), 0);
    memset(h, 0, sizeof *h);
    strcpy(h->folder, "/tmp/endstop-server-XXXXXX");
    cr_assert_not_null(mkdtemp(h->folder));
    snprintf(h->path, sizeof h->path, "%s/sock", h->folder);
    make_key(h->folder);
    make_library(h);
    fake_safe_takes(0);
    struct es_office_options office = {.state = h->folder, .bench = fake_bench()};
    cr_assert_eq(es_office_open(&office, &h->office, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_office_take_key(h->office, &err), ES_OK, "%s", err.text);
    cr_assert_eq(es_server_open(h->path, (gid_t)-1, NULL, &h->server, &err), ES_OK, "%s", err.text);
    struct es_control_options control = {.bench = fake_bench(),
                                         .live = fake_live(),
                                         .office = h->office,
                                         .state = h->folder,
                                         .library = h->library,
                                         .types = h->library,
                                         .grace = grace,
                                         .wake = es_server_wake,
                                         .wake_self = h->server};
    cr_assert_eq(es_control_new(&control, &h->control, &err), ES_OK, "%s", err.text);
    cr_assert_eq(socketpair(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK, 0, h->end), 0);
    cr_assert_eq(pthread_create(&h->thread, NULL, serve, h), 0);
}

static void close_house(struct house *h)
{
    char info[128] = {0}; /* the size of a signalfd_siginfo */
    cr_assert_eq(write(h->end[1], info, sizeof info), (ssize_t)sizeof info);
    pthread_join(h->thread, NULL);
    es_control_free(h->control);
    es_server_close(h->server);
    es_office_close(h->office);
    char command[128];
    snprintf(command, sizeof command, "rm -rf '%s'", h->folder);
    cr_assert_eq(system(command), 0);
}

/* ---- a client ---- */

struct client {
    int fd;
    char buffer[1 << 16];
    size_t length;
};

static void join(struct house *h, struct client *c, const char *hello)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    strcpy(address.sun_path, h->path);
    c->length = 0;
    c->fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    cr_assert_eq(connect(c->fd, (struct sockaddr *)&address, sizeof address), 0);
    if (hello != NULL)
        cr_assert_eq(write(c->fd, hello, strlen(hello)), (ssize_t)strlen(hello));
}

static void say(struct client *c, const char *line)
{
    cr_assert_eq(send(c->fd, line, strlen(line), MSG_NOSIGNAL), (ssize_t)strlen(line));
    cr_assert_eq(send(c->fd, "\n", 1, MSG_NOSIGNAL), 1);
}

/* The next line within `seconds`, to be freed; NULL when the daemon has closed. */
static char *hear(struct client *c, double seconds)
{
    es_time end = es_clock_now() + es_from_seconds(seconds);
    for (;;) {
        char *feed = memchr(c->buffer, '\n', c->length);
        if (feed != NULL) {
            char *line = strndup(c->buffer, (size_t)(feed - c->buffer));
            c->length -= (size_t)(feed + 1 - c->buffer);
            memmove(c->buffer, feed + 1, c->length);
            return line;
        }
        double left = es_seconds(end - es_clock_now());
        cr_assert_gt(left, 0, "nothing heard in %g s", seconds);
        struct pollfd fd = {.fd = c->fd, .events = POLLIN};
        (void)poll(&fd, 1, (int)(left * 1000) + 1);
        ssize_t n = recv(c->fd, c->buffer + c->length, sizeof c->buffer - c->length, MSG_DONTWAIT);
        if (n == 0)
            return NULL;
        if (n > 0)
            c->length += (size_t)n;
    }
}

/* Hears until a line holds `part`; gives that line. */
static char *hear_of(struct client *c, const char *part, double seconds)
{
    es_time end = es_clock_now() + es_from_seconds(seconds);
    for (;;) {
        char *line = hear(c, es_seconds(end - es_clock_now()));
        cr_assert_not_null(line, "closed before: %s", part);
        if (strstr(line, part) != NULL)
            return line;
        free(line);
    }
}

static void expect(struct client *c, const char *part)
{
    free(hear_of(c, part, 10));
}

#define HELLO "{\"id\":1,\"do\":\"hello\",\"protocol\":1,\"program\":\"test\",\"person\":\"T. Ester\"}\n"

Test(office, a_prefix_is_taken_as_it_is_or_refused)
{
    static const char *const bad[] = {"B/2", "-B", "B--2", "", "an unusual one", "ABCDEFGHIJKLMNOPQRSTUVWXY"};
    char folder[] = "/tmp/endstop-office-XXXXXX", command[64];
    struct es_error err = {0};
    struct es_office *office = NULL;
    cr_assert_not_null(mkdtemp(folder));
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct es_office_options options = {.state = folder, .bench = fake_bench(), .prefix = bad[i]};
        cr_expect_eq(es_office_open(&options, &office, &err), ES_USAGE, "\"%s\"", bad[i]);
        cr_expect_not_null(strstr(err.text, "--prefix"));
    }
    struct es_office_options options = {
        .state = folder, .bench = fake_bench(), .prefix = "ABCDEFGHIJKLMNOPQRSTUVWX"};
    cr_assert_eq(es_office_open(&options, &office, &err), ES_OK, "%s", err.text);
    es_office_close(office);
    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    cr_assert_eq(system(command), 0);
}

static void order(struct client *c, const char *serial, bool unattended)
{
    char line[300];
    snprintf(line, sizeof line,
             "{\"id\":5,\"do\":\"run\",\"station\":\"1\",\"plan\":\"p\",\"type\":\"t\",\"serial\":\"%s\","
             "\"state\":\"as "
             "left\",\"unattended\":%s}",
             serial, unattended ? "true" : "false");
    say(c, line);
}

Test(server, a_run_from_order_to_durable_certificate)
{
    struct house h;
    struct client c;
    open_house(&h, 30);
    join(&h, &c, HELLO);
    expect(&c, "\"bench\":\"Fake bench\"");
    order(&c, "pass", true);
    expect(&c, "\"id\":5,\"ok\":true,\"run\":\"");
    expect(&c, "\"event\":\"begin\"");
    expect(&c, "\"event\":\"step\"");
    char *ended = hear_of(&c, "\"event\":\"ended\"", 10);
    cr_assert_not_null(strstr(ended, "\"result\":\"completed\""), "%s", ended);
    cr_assert_not_null(strstr(ended, "\"number\":\"Fake-bench-000001\""), "%s", ended);
    free(ended);
    say(&c, "{\"id\":6,\"do\":\"certificate\",\"number\":\"Fake-bench-000001\"}");
    expect(&c, "\\\"verdict\\\":\\\"pass\\\"");
    say(&c, "{\"id\":7,\"do\":\"certificates\"}");
    expect(&c, "\"more\":false");
    say(&c, "{\"id\":8,\"do\":\"runs\"}");
    expect(&c, "\"state\":\"completed\"");
    say(&c, "{\"id\":9,\"do\":\"bench\"}");
    char *bench = hear_of(&c, "\"id\":9", 5);
    cr_assert_not_null(strstr(bench, "\"role\":\"supply pressure\""));
    cr_assert_null(strchr(bench, '\x1b'), "what an instrument says of itself must not steer a terminal raw");
    free(bench);
    close(c.fd);
    close_house(&h);
}

Test(server, the_journal_goes_when_the_paper_is_durable)
{
    static const char *const serials[] = {"pass", "lost", "pass"};
    static const int settled[] = {1, 1, 2};
    struct house h;
    struct client c;
    open_house(&h, 30);
    join(&h, &c, HELLO);
    for (size_t i = 0; i < 3; i++) {
        order(&c, serials[i], true);
        expect(&c, "\"event\":\"ended\"");
        cr_expect_eq(fake_settled(), settled[i], "after \"%s\"", serials[i]);
    }
    close(c.fd);
    close_house(&h);
}

Test(server, what_there_is_is_named_when_a_name_is_wrong)
{
    struct house h;
    struct client c;
    open_house(&h, 30);
    join(&h, &c, HELLO);
    say(&c, "{\"id\":5,\"do\":\"run\",\"station\":\"1\",\"plan\":\"q\",\"type\":\"u\",\"serial\":\"1\","
            "\"state\":\"as left\"}");
    expect(&c,
           "there is no test plan \\\"q\\\"; there is only \\\"p\\\". And there is no type sheet \\\"u\\\"; "
           "there are \\\"t\\\" and \\\"t2\\\"");
    say(&c, "{\"id\":6,\"do\":\"plans\"}");
    expect(&c, "\"plans\":[\"p\"],\"types\":[\"t\",\"t2\"]");
    close(c.fd);
    close_house(&h);
}

Test(server, a_refused_order_leaves_no_trace)
{
    struct house h;
    struct client c;
    open_house(&h, 30);
    join(&h, &c, HELLO);
    order(&c, "refuse", true);
    char *ended = hear_of(&c, "\"event\":\"ended\"", 10);
    cr_assert_not_null(strstr(ended, "\"result\":\"refused\""));
    cr_assert_not_null(strstr(ended, "\"exit\":2"));
    cr_assert_not_null(strstr(ended, "\"line\":5,\"column\":6"), "all faults at once: %s", ended);
    free(ended);
    say(&c, "{\"id\":8,\"do\":\"runs\"}");
    expect(&c, "\"runs\":[]");
    close(c.fd);
    close_house(&h);
}

Test(server, a_slow_safe_state_holds_up_nobody)
{
    struct house h;
    struct client a, b;
    open_house(&h, 30);
    fake_safe_takes(1.5);
    join(&h, &a, HELLO);
    join(&h, &b, HELLO);
    expect(&a, "\"ok\":true");
    expect(&b, "\"ok\":true");
    say(&a, "{\"id\":2,\"do\":\"stop\",\"station\":\"1\"}");
    expect(&a, "\"id\":2,\"ok\":true");
    es_time began = es_clock_now();
    for (int i = 0; i < 50; i++) {
        say(&b, "{\"id\":3,\"do\":\"bench\"}");
        expect(&b, "\"doing\":\"making safe\"");
    }
    cr_assert_lt(es_seconds(es_clock_now() - began), 1.0);
    order(&b, "pass", true);
    expect(&b, "\"ok\":false,\"status\":\"refused\"");
    expect(&a, "\"event\":\"safe\",\"ok\":true");
    say(&a, "{\"id\":4,\"do\":\"reset\",\"station\":\"1\"}");
    expect(&a, "still pressed");
    close(a.fd);
    close(b.fd);
    close_house(&h);
}

Test(server, a_stop_before_the_run_has_begun_is_not_lost)
{
    struct house h;
    struct client c;
    open_house(&h, 30);
    join(&h, &c, HELLO);
    order(&c, "tarry", true);
    expect(&c, "\"event\":\"begin\"");
    say(&c, "{\"id\":6,\"do\":\"stop\",\"station\":\"1\"}");
    char *ended = hear_of(&c, "\"event\":\"ended\"", 10);
    cr_assert_not_null(strstr(ended, "\"result\":\"refused\""), "%s", ended);
    cr_assert_not_null(strstr(ended, "stopped before it began"), "%s", ended);
    free(ended);
    close(c.fd);
    close_house(&h);
}

Test(server, a_stop_reaches_the_run_and_its_record_is_durable)
{
    struct house h;
    struct client c, other;
    open_house(&h, 30);
    join(&h, &c, HELLO);
    join(&h, &other, HELLO);
    order(&c, "hang", true);
    expect(&c, "\"event\":\"step\"");
    say(&other, "{\"id\":6,\"do\":\"stop\",\"station\":\"1\",\"why\":\"enough\"}");
    expect(&c, "\"event\":\"stopping\",\"why\":\"enough: stopped by T. Ester\"");
    char *ended = hear_of(&c, "\"event\":\"ended\"", 10);
    cr_assert_not_null(strstr(ended, "\"result\":\"not completed\",\"number\":\"Fake-bench-000001\""), "%s",
                       ended);
    cr_assert_not_null(strstr(ended, "\"safe state time\":0.25"), "%s", ended);
    free(ended);
    expect(&other, "\"event\":\"ended\"");
    close(c.fd);
    close(other.fd);
    close_house(&h);
}

Test(server, questions_belong_to_those_who_attend)
{
    struct house h;
    struct client c, other;
    open_house(&h, 30);
    join(&h, &c, HELLO);
    join(&h, &other, HELLO);
    order(&c, "ask", false);
    expect(&c, "\"event\":\"question\",\"question\":1,\"kind\":\"confirm\"");
    const char *yes = "{\"id\":7,\"do\":\"answer\",\"station\":\"1\",\"question\":1,\"answer\":\"yes\"}";
    say(&other, yes);
    expect(&other, "\"id\":7,\"ok\":false");
    say(&other, "{\"id\":8,\"do\":\"bench\"}");
    expect(&other, "\"asks\":{\"question\":1");
    say(&c, yes);
    expect(&c, "\"id\":7,\"ok\":true");
    expect(&c, "\"event\":\"answered\",\"question\":1,\"answer\":\"yes\",\"person\":\"T. Ester\"");
    expect(&c, "\"result\":\"completed\"");
    close(c.fd);
    close(other.fd);
    close_house(&h);
}

Test(server, an_attended_run_ends_when_its_operator_stays_away)
{
    struct house h;
    struct client c, other;
    open_house(&h, 0.5);
    join(&h, &c, HELLO);
    join(&h, &other, HELLO);
    order(&c, "hang", false);
    expect(&c, "\"event\":\"step\"");
    say(&other, "{\"id\":2,\"do\":\"watch\",\"station\":\"1\",\"from\":1}");
    close(c.fd);
    expect(&other, "connection was gone");
    expect(&other, "\"result\":\"not completed\"");
    close(other.fd);
    close_house(&h);
}

Test(server, an_unattended_run_and_one_rejoined_go_on)
{
    struct house h;
    struct client c, back;
    open_house(&h, 0.6);
    join(&h, &c, HELLO);
    order(&c, "hang", false);
    expect(&c, "\"event\":\"step\"");
    close(c.fd);
    join(&h, &back, HELLO);
    say(&back, "{\"id\":2,\"do\":\"watch\",\"station\":\"1\",\"from\":1,\"attend\":true}");
    expect(&back, "\"doing\":\"running\"");
    expect(&back, "\"seq\":1,\"event\":\"begin\"");
    usleep(1000 * 1000);
    say(&back, "{\"id\":3,\"do\":\"bench\"}");
    expect(&back, "\"doing\":\"running\"");
    say(&back, "{\"id\":4,\"do\":\"stop\",\"station\":\"1\"}");
    expect(&back, "\"result\":\"not completed\"");
    order(&back, "hang", true);
    expect(&back, "\"event\":\"step\"");
    close(back.fd);
    usleep(1000 * 1000);
    join(&h, &back, HELLO);
    say(&back, "{\"id\":3,\"do\":\"bench\"}");
    expect(&back, "\"doing\":\"running\"");
    close(back.fd);
    close_house(&h); /* with the run under way: it is stopped and its record written */
}

Test(server, a_flood_of_events_reaches_a_slow_reader_as_a_gap)
{
    struct house h;
    struct client slow, quick;
    open_house(&h, 30);
    join(&h, &slow, HELLO);
    join(&h, &quick, HELLO);
    expect(&slow, "\"ok\":true");
    say(&slow, "{\"id\":2,\"do\":\"watch\",\"station\":\"1\",\"from\":1}");
    order(&quick, "flood", true);
    expect(&quick, "\"event\":\"ended\"");
    char *gap = hear_of(&slow, "\"event\":\"gap\"", 10);
    free(gap);
    expect(&slow, "\"event\":\"ended\"");
    close(slow.fd);
    close(quick.fd);
    close_house(&h);
}

Test(server, a_result_that_cannot_be_written_is_said_and_the_daemon_lives)
{
    struct house h;
    struct client c;
    open_house(&h, 30);
    join(&h, &c, HELLO);
    order(&c, "hang", true);
    expect(&c, "\"event\":\"step\"");
    char certificates[96];
    snprintf(certificates, sizeof certificates, "%s/certificates", h.folder);
    cr_assert_eq(rmdir(certificates), 0);
    say(&c, "{\"id\":4,\"do\":\"stop\",\"station\":\"1\"}");
    char *ended = hear_of(&c, "\"event\":\"ended\"", 10);
    cr_assert_not_null(strstr(ended, "\"result\":\"failed\""), "%s", ended);
    cr_assert_null(strstr(ended, "\"number\""), "%s", ended);
    free(ended);
    say(&c, "{\"id\":9,\"do\":\"bench\"}");
    expect(&c, "\"doing\":\"idle\"");
    close(c.fd);
    close_house(&h);
}

Test(server, a_socket_left_behind_is_replaced_and_nothing_else)
{
    struct house h;
    struct es_error err;
    struct es_server *second;
    open_house(&h, 30);
    cr_assert_eq(es_server_open(h.path, (gid_t)-1, NULL, &second, &err), ES_REFUSED);
    cr_assert_not_null(strstr(err.text, "another daemon"));
    char path[128];
    snprintf(path, sizeof path, "%s/file", h.folder);
    FILE *f = fopen(path, "w");
    cr_assert_not_null(f);
    fclose(f);
    cr_assert_eq(es_server_open(path, (gid_t)-1, NULL, &second, &err), ES_REFUSED);
    cr_assert_eq(access(path, F_OK), 0);
    snprintf(path, sizeof path, "%s/stale", h.folder);
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    strcpy(address.sun_path, path);
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    cr_assert_eq(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    close(fd);
    cr_assert_eq(es_server_open(path, (gid_t)-1, NULL, &second, &err), ES_OK, "%s", err.text);
    struct stat status;
    cr_assert_eq(stat(path, &status), 0);
    cr_assert_eq(status.st_mode & 0777, 0600);
    es_server_close(second);
    cr_assert_neq(access(path, F_OK), 0);
    char longest[300];
    memset(longest, 'x', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    cr_assert_eq(es_server_open(longest, (gid_t)-1, NULL, &second, &err), ES_USAGE);
    close_house(&h);
}
