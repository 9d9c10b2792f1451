#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "rig/base/clock.h"
#include "rig/client/talk.h"
#include "rig/console/json_writer.h"
#include "rig/daemon/protocol.h"

#define REPLY_S    10
#define EVENTS_MAX 8192

struct event {
    struct event *next;
    struct es_document *doc;
};

struct es_talk {
    int fd;
    long next_id;
    struct es_text in; /* received, not yet taken apart */
    struct event *first, **last;
    size_t event_count;
    struct es_document *hello;
    bool ended;
};

const char *es_member_text(const cJSON *object, const char *name)
{
    const cJSON *item = es_member(object, name);
    return cJSON_IsString(item) ? item->valuestring : "";
}

double es_member_number(const cJSON *object, const char *name)
{
    const cJSON *item = es_member(object, name);
    return cJSON_IsNumber(item) ? item->valuedouble : NAN;
}

bool es_member_true(const cJSON *object, const char *name)
{
    return cJSON_IsTrue(es_member(object, name));
}

enum es_status es_status_of_word(const char *word)
{
    for (int s = ES_USAGE; s < ES_STATUS_COUNT; s++)
        if (strcmp(word, es_status_word((enum es_status)s)) == 0)
            return (enum es_status)s;
    return ES_INTERNAL;
}

int es_talk_fd(const struct es_talk *talk)
{
    return talk->fd;
}

const cJSON *es_talk_hello(const struct es_talk *talk)
{
    return es_document_root(talk->hello);
}

enum es_status es_talk_station(const struct es_talk *talk, const char *wanted, const char **station,
                               struct es_error *err)
{
    const cJSON *stations = es_member(es_talk_hello(talk), "stations");
    if (wanted != NULL) {
        *station = wanted; /* the daemon says when it does not know it */
        return ES_OK;
    }
    const cJSON *only = cJSON_GetArrayItem(stations, 0);
    if (cJSON_GetArraySize(stations) != 1 || !cJSON_IsString(only)) {
        struct es_text names = {0};
        const cJSON *item;
        cJSON_ArrayForEach(item, stations)
        {
            if (cJSON_IsString(item))
                es_text_printf(&names, "%s\"%s\"", names.length > 0 ? ", " : "", item->valuestring);
        }
        enum es_status s =
            es_fail(err, ES_USAGE, "this bench has several stations; name one with --station: %s",
                    names.bytes != NULL ? names.bytes : "none");
        es_text_free(&names);
        return s;
    }
    *station = only->valuestring;
    return ES_OK;
}

static enum es_status connect_to(const char *path, int *out, struct es_error *err)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (strlen(path) >= sizeof address.sun_path)
        return es_fail(err, ES_USAGE, "the socket's path is too long: %s", path);
    memcpy(address.sun_path, path, strlen(path) + 1);
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return es_fail_errno(err, errno, "no socket could be made");
    if (connect(fd, (const struct sockaddr *)&address, sizeof address) == 0 &&
        fcntl(fd, F_SETFL, O_NONBLOCK) == 0) {
        *out = fd;
        return ES_OK;
    }
    int reason = errno;
    close(fd);
    if (reason == ENOENT || reason == ECONNREFUSED)
        return es_fail(
            err, ES_IO,
            "no daemon answers at %s; start endstopd, or name its socket with --socket or ENDSTOP_SOCKET",
            path);
    if (reason == EACCES)
        return es_fail(err, ES_REFUSED, "you may not connect to %s; the daemon's --group says who may", path);
    return es_fail_errno(err, reason, "the daemon's socket %s cannot be reached", path);
}

static enum es_status say_hello(struct es_talk *talk, const char *person, struct es_error *err)
{
    struct es_text request = {0};
    es_talk_begin(talk, &request, "hello");
    es_json_integer(&request, "protocol", ES_PROTOCOL);
    es_json_text(&request, "program", "endstop " ES_VERSION);
    if (person != NULL)
        es_json_text(&request, "person", person);
    enum es_status s = es_talk_ask(talk, &request, &talk->hello, err);
    es_text_free(&request);
    return s;
}

enum es_status es_talk_open(const char *path, const char *person, struct es_talk **out, struct es_error *err)
{
    if (path == NULL)
        path = getenv("ENDSTOP_SOCKET");
    if (path == NULL || path[0] == '\0')
        path = ES_DEFAULT_SOCKET;
    struct es_talk *talk = calloc(1, sizeof *talk);
    if (talk == NULL)
        return es_fail(err, ES_NO_MEMORY, "not enough memory to talk to the daemon");
    talk->fd = -1;
    talk->last = &talk->first;
    enum es_status s = connect_to(path, &talk->fd, err);
    if (s == ES_OK)
        s = say_hello(talk, person, err);
    if (s != ES_OK) {
        es_talk_close(talk);
        return s;
    }
    *out = talk;
    return ES_OK;
}

void es_talk_close(struct es_talk *talk)
{
    if (talk == NULL)
        return;
    while (talk->first != NULL) {
        struct event *e = talk->first;
        talk->first = e->next;
        es_document_free(e->doc);
        free(e);
    }
    es_document_free(talk->hello);
    es_text_free(&talk->in);
    if (talk->fd >= 0)
        close(talk->fd);
    free(talk);
}

void es_talk_begin(struct es_talk *talk, struct es_text *request, const char *what)
{
    es_text_reset(request);
    es_json_object(request, NULL);
    es_json_integer(request, "id", ++talk->next_id);
    es_json_text(request, "do", what);
}

static enum es_status gone(struct es_error *err)
{
    return es_fail(err, ES_HANGUP, "the daemon closed the connection; its log says why");
}

/* Reads what the socket holds. */
static enum es_status receive(struct es_talk *talk, struct es_error *err)
{
    char bytes[65536];
    for (;;) {
        ssize_t n = recv(talk->fd, bytes, sizeof bytes, MSG_DONTWAIT);
        if (n > 0) {
            es_text_append(&talk->in, bytes, (size_t)n);
            if (talk->in.length > ES_DOCUMENT_MAX)
                return es_fail(err, ES_GARBLED, "the daemon sends more than a client takes");
            continue;
        }
        if (n == 0)
            talk->ended = true;
        else if (errno == EINTR)
            continue;
        else if (errno != EAGAIN)
            return es_fail_errno(err, errno, "the connection to the daemon failed");
        return es_text_status(&talk->in, err);
    }
}

/* Takes one whole line; *doc NULL when there is none. */
static enum es_status take_line(struct es_talk *talk, struct es_document **doc, struct es_error *err)
{
    *doc = NULL;
    const char *end = talk->in.length > 0 ? memchr(talk->in.bytes, '\n', talk->in.length) : NULL;
    if (end == NULL)
        return ES_OK;
    size_t length = (size_t)(end - talk->in.bytes);
    struct es_findings findings = {0};
    enum es_status s = es_document_parse("daemon", talk->in.bytes, length, &findings, doc, err);
    es_findings_free(&findings);
    memmove(talk->in.bytes, talk->in.bytes + length + 1, talk->in.length - length - 1);
    talk->in.length -= length + 1;
    return s;
}

static enum es_status keep_event(struct es_talk *talk, struct es_document *doc, struct es_error *err)
{
    struct event *e = talk->event_count < EVENTS_MAX ? calloc(1, sizeof *e) : NULL;
    if (e == NULL) {
        es_document_free(doc);
        return es_fail(err, ES_NO_MEMORY, "not enough memory for the daemon's events");
    }
    e->doc = doc;
    *talk->last = e;
    talk->last = &e->next;
    talk->event_count++;
    return ES_OK;
}

static enum es_status transmit(struct es_talk *talk, const struct es_text *request, es_time deadline,
                               struct es_error *err)
{
    size_t sent = 0;
    while (sent < request->length) {
        ssize_t n = send(talk->fd, request->bytes + sent, request->length - sent, MSG_NOSIGNAL);
        if (n >= 0) {
            sent += (size_t)n;
            continue;
        }
        if (errno == EPIPE || errno == ECONNRESET)
            return gone(err);
        if (errno != EAGAIN && errno != EINTR)
            return es_fail_errno(err, errno, "the connection to the daemon failed");
        if (es_clock_now() > deadline)
            return es_fail(err, ES_TIMEOUT, "the daemon takes no requests");
        struct pollfd fd = {.fd = talk->fd, .events = POLLOUT};
        (void)poll(&fd, 1, 100);
    }
    return ES_OK;
}

/* The reply's own status when it says no; then it is freed. */
static enum es_status judge_reply(struct es_document **reply, struct es_error *err)
{
    const cJSON *root = es_document_root(*reply);
    if (es_member_true(root, "ok"))
        return ES_OK;
    enum es_status s =
        es_fail(err, es_status_of_word(es_member_text(root, "status")), "%s", es_member_text(root, "text"));
    es_document_free(*reply);
    *reply = NULL;
    return s;
}

enum es_status es_talk_ask(struct es_talk *talk, struct es_text *request, struct es_document **reply,
                           struct es_error *err)
{
    es_time deadline = es_clock_now() + REPLY_S * ES_NS_PER_S;
    es_json_end_object(request);
    es_text_char(request, '\n');
    enum es_status s = es_text_status(request, err);
    if (s == ES_OK)
        s = transmit(talk, request, deadline, err);
    while (s == ES_OK) {
        struct es_document *doc;
        s = receive(talk, err);
        while (s == ES_OK && (s = take_line(talk, &doc, err)) == ES_OK && doc != NULL) {
            const cJSON *id = es_member(es_document_root(doc), "id");
            if (cJSON_IsNumber(id)) { /* requests are asked one after the other: it is this one's */
                *reply = doc;
                return judge_reply(reply, err);
            }
            s = keep_event(talk, doc, err);
        }
        if (s == ES_OK && talk->ended)
            s = gone(err);
        if (s == ES_OK && es_clock_now() > deadline)
            s = es_fail(err, ES_TIMEOUT, "the daemon did not reply within %d s", REPLY_S);
        struct pollfd fd = {.fd = talk->fd, .events = POLLIN};
        if (s == ES_OK)
            (void)poll(&fd, 1, 100);
    }
    return s;
}

enum es_status es_talk_event(struct es_talk *talk, struct es_document **event, struct es_error *err)
{
    *event = NULL;
    if (talk->first != NULL) {
        struct event *e = talk->first;
        *event = e->doc;
        talk->first = e->next;
        if (talk->first == NULL)
            talk->last = &talk->first;
        talk->event_count--;
        free(e);
        return ES_OK;
    }
    enum es_status s = receive(talk, err);
    if (s == ES_OK)
        s = take_line(talk, event, err);
    if (s == ES_OK && *event == NULL && talk->ended)
        s = gone(err);
    return s;
}
