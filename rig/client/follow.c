#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <string.h>
#include <sys/signalfd.h>
#include <unistd.h>

#include "rig/client/follow.h"
#include "rig/client/prompt.h"
#include "rig/console/json_writer.h"

struct state {
    struct es_follow *follow;
    struct es_progress *progress;
    struct es_document *question; /* open, or NULL */
    bool shown;
    char line[512]; /* what the operator has typed so far */
    size_t length;
    bool input_ended;
    struct es_document *last;
};

enum es_status es_follow_signals(int *fd, struct es_error *err)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    if (sigprocmask(SIG_BLOCK, &set, NULL) != 0)
        return es_fail_errno(err, errno, "signals could not be set");
    *fd = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
    return *fd >= 0 ? ES_OK : es_fail_errno(err, errno, "signals could not be taken");
}

static enum es_status send_stop(struct state *s, const char *why, struct es_error *err)
{
    struct es_text request = {0};
    struct es_document *reply = NULL;
    es_talk_begin(s->follow->talk, &request, "stop");
    es_json_text(&request, "station", s->follow->station);
    es_json_text(&request, "why", why);
    enum es_status status = es_talk_ask(s->follow->talk, &request, &reply, err);
    es_document_free(reply);
    es_text_free(&request);
    if (status == ES_OK)
        s->follow->stopped = true;
    return status;
}

static void close_question(struct state *s)
{
    es_document_free(s->question);
    s->question = NULL;
    s->shown = false;
    s->length = 0;
}

/* Takes one event; true when it was the last one. `doc` is taken over. */
static bool take_event(struct state *s, struct es_document *doc)
{
    const cJSON *event = es_document_root(doc);
    const char *kind = es_member_text(event, "event");
    if (strcmp(kind, "ended") == 0 || strcmp(kind, "safe") == 0) {
        s->last = doc;
        return true;
    }
    if (strcmp(kind, "question") == 0) {
        close_question(s);
        s->question = doc;
        return false;
    }
    if (strcmp(kind, "answered") == 0) {
        if (s->question != NULL && s->shown && s->follow->answers == false)
            es_progress_say(s->progress, "answered: %s (%s)", es_member_text(event, "answer"),
                            es_member_text(event, "person"));
        close_question(s);
    } else if (strcmp(kind, "unanswered") == 0) {
        close_question(s);
        es_progress_say(s->progress, "%s", es_member_text(event, "text"));
    } else if (strcmp(kind, "stopping") == 0) {
        close_question(s);
        es_progress_say(s->progress, "Stopping (%s); waiting for the safe state.",
                        es_member_text(event, "why"));
    } else if (strcmp(kind, "gap") == 0) {
        es_progress_say(s->progress, "(some events were missed)");
    } else {
        es_progress_event(s->progress, event);
    }
    es_document_free(doc);
    return false;
}

static enum es_status answer(struct state *s, const char *line, struct es_error *err)
{
    struct es_text request = {0};
    struct es_document *reply = NULL;
    const cJSON *question = es_document_root(s->question);
    es_talk_begin(s->follow->talk, &request, "answer");
    es_json_text(&request, "station", s->follow->station);
    es_json_integer(&request, "question", (long long)es_member_number(question, "question"));
    struct es_error local;
    enum es_status status = es_prompt_understand(question, line, &request, &local);
    if (status == ES_OK)
        status = es_talk_ask(s->follow->talk, &request, &reply, &local);
    es_document_free(reply);
    es_text_free(&request);
    if (status == ES_OK) {
        close_question(s);
        return ES_OK;
    }
    if (status == ES_HANGUP || status == ES_TIMEOUT || status == ES_IO)
        return es_fail(err, status, "%s", local.text);
    es_progress_say(s->progress, "%s", local.text); /* ask again */
    s->shown = false;
    return ES_OK;
}

/* Reads what was typed; answers when a line is whole. */
static enum es_status take_input(struct state *s, struct es_error *err)
{
    char c;
    ssize_t n;
    while ((n = read(STDIN_FILENO, &c, 1)) == 1) { /* byte by byte: what follows the line is another's */
        if (c != '\n') {
            if (s->length + 1 < sizeof s->line)
                s->line[s->length++] = c;
            continue;
        }
        s->line[s->length] = '\0';
        while (s->length > 0 && strchr(" \t\r", s->line[s->length - 1]) != NULL)
            s->line[--s->length] = '\0';
        char *start = s->line + strspn(s->line, " \t");
        s->length = 0;
        return answer(s, start, err);
    }
    if (n == 0 || (errno != EAGAIN && errno != EINTR)) {
        s->input_ended = true;
        es_progress_say(s->progress, "No answer can be read (end of input): the run is stopped.");
        return send_stop(s, "a question could not be answered: end of input", err);
    }
    return ES_OK;
}

static enum es_status take_signal(struct state *s, int signals, struct es_error *err)
{
    struct signalfd_siginfo info;
    if (read(signals, &info, sizeof info) != (ssize_t)sizeof info)
        return ES_OK;
    if (s->follow->stopped)
        return es_fail(
            err, ES_CANCELLED,
            "left before the end; the daemon goes on making the station safe (\"endstop bench\" shows it)");
    es_progress_say(s->progress, "Asking the daemon to stop ...");
    return send_stop(s, info.ssi_signo == SIGINT ? "ctrl-C at the client" : "the client was asked to end",
                     err);
}

static enum es_status take_events(struct state *s, struct es_error *err)
{
    for (;;) {
        struct es_document *doc = NULL;
        enum es_status status = es_talk_event(s->follow->talk, &doc, err);
        if (status != ES_OK || doc == NULL)
            return status;
        if (take_event(s, doc))
            return ES_OK;
    }
}

static enum es_status wait_for_news(struct state *s, int signals, struct es_error *err)
{
    bool asking = s->question != NULL && s->follow->answers && !s->input_ended;
    if (s->question != NULL && s->follow->answers && !s->shown) {
        es_prompt_show(s->progress, es_document_root(s->question));
        s->shown = true;
    }
    if (!asking)
        es_progress_draw(s->progress, es_clock_now());
    struct pollfd fds[3] = {{.fd = es_talk_fd(s->follow->talk), .events = POLLIN},
                            {.fd = signals, .events = POLLIN},
                            {.fd = asking ? STDIN_FILENO : -1, .events = POLLIN}};
    if (poll(fds, 3, 250) < 0 && errno != EINTR)
        return es_fail_errno(err, errno, "waiting for the daemon failed");
    enum es_status status = ES_OK;
    if ((fds[1].revents & POLLIN) != 0)
        status = take_signal(s, signals, err);
    if (status == ES_OK && (fds[2].revents & (POLLIN | POLLHUP)) != 0)
        status = take_input(s, err);
    return status;
}

enum es_status es_follow(struct es_follow *follow, struct es_progress *progress, int signals,
                         struct es_document **last, struct es_error *err)
{
    struct state s = {.follow = follow, .progress = progress};
    enum es_status status = ES_OK;
    while (status == ES_OK) {
        status = take_events(&s, err);
        if (status != ES_OK || s.last != NULL)
            break;
        status = wait_for_news(&s, signals, err);
    }
    es_progress_clear(progress);
    close_question(&s);
    if (status == ES_OK)
        *last = s.last;
    return status;
}
