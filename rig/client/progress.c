#include <math.h>
#include <stdarg.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "rig/base/number.h"
#include "rig/client/progress.h"
#include "rig/client/talk.h"
#include "rig/console/display.h"

#define DRAW_EVERY  (ES_NS_PER_S / 5)
#define VALUE_LINES 2

static void copy_visible(const char *text, char *out, size_t size)
{
    struct es_text clean = {0};
    es_text_visible(&clean, text, strlen(text));
    snprintf(out, size, "%s", clean.bytes != NULL ? clean.bytes : "");
    es_text_free(&clean);
}

void es_progress_start(struct es_progress *p, const struct es_screen *screen, bool quiet)
{
    memset(p, 0, sizeof *p);
    p->screen = screen;
    p->quiet = quiet;
    p->remaining = NAN;
    p->width = screen->width;
    struct winsize size;
    if (screen->err_terminal && ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        p->width = size.ws_col;
}

void es_progress_clear(struct es_progress *p)
{
    for (; p->lines > 0; p->lines--)
        fputs("\033[1A\033[2K", stderr);
}

void es_progress_paragraph(struct es_progress *p, size_t hang, const char *text)
{
    struct es_text clean = {0};
    es_text_visible(&clean, text, strlen(text));
    es_progress_clear(p);
    if (clean.bytes != NULL) {
        fprintf(stderr, "%*s", (int)hang, "");
        es_display_wrap(clean.bytes, hang, p->width, stderr);
    }
    es_text_free(&clean);
}

void es_progress_title(struct es_progress *p, const char *text)
{
    bool bold = p->screen->colour && p->screen->err_terminal;
    es_progress_clear(p);
    fprintf(stderr, "%s%s%s\n", bold ? "\033[1m" : "", text, bold ? "\033[0m" : "");
}

void es_progress_say(struct es_progress *p, const char *format, ...)
{
    va_list args;
    es_progress_clear(p);
    va_start(args, format);
    es_display_sentence(p->width, stderr, format, args);
    va_end(args);
    (void)fflush(stderr);
}

static void take_values(struct es_progress *p, const cJSON *values)
{
    struct es_text text = {0};
    es_watched_lines(&p->watched, values, p->width > 24 ? p->width - 3 : 20, VALUE_LINES, &text);
    snprintf(p->values, sizeof p->values, "%s", text.bytes != NULL ? text.bytes : "");
    es_text_free(&text);
}

static void take_times(struct es_progress *p, const cJSON *event)
{
    double remaining = es_member_number(event, "remaining");
    if (isnan(remaining))
        return;
    p->remaining = remaining;
    p->elapsed = es_member_number(event, "elapsed");
    p->since = es_clock_now();
}

void es_progress_event(struct es_progress *p, const cJSON *event)
{
    const char *kind = es_member_text(event, "event");
    if (strcmp(kind, "values") == 0) {
        take_values(p, es_member(event, "values"));
        return;
    }
    take_times(p, event);
    es_watched_event(&p->watched, event);
    if (strcmp(kind, "step") == 0) {
        copy_visible(es_member_text(event, "text"), p->step, sizeof p->step);
        p->drawn = 0;
    } else if (strcmp(kind, "procedure") == 0) {
        bool begins = strcmp(es_member_text(event, "state"), "begin") == 0;
        copy_visible(es_member_text(event, "name"), p->procedure, sizeof p->procedure);
        p->step[0] = '\0';
        if (!p->quiet && begins && !p->screen->err_terminal) {
            char left[ES_NUMBER_SIZE];
            es_number_duration(p->remaining, left);
            es_progress_say(p, "%s ... (%s left at most)", p->procedure, left);
        } else if (!p->quiet && !begins) {
            es_progress_say(p, "%s: %s", p->procedure, es_member_text(event, "text"));
        }
    } else if (strcmp(kind, "note") == 0 && !p->quiet) {
        es_progress_say(p, "%s", es_member_text(event, "text"));
    }
}

static void put_line(struct es_progress *p, const char *text)
{
    size_t room = p->width > 4 ? p->width - 1 : 3;
    if (es_display_width(text) > room)
        fprintf(stderr, "%.*s...\n", (int)es_display_fit(text, room - 3, NULL), text);
    else
        fprintf(stderr, "%s\n", text);
    p->lines++;
}

/* One line, or two on a narrow terminal. */
static void put_step(struct es_progress *p)
{
    char line[sizeof p->step + 3];
    size_t next = 0, room = p->width > 24 ? p->width - 3 : 20;
    size_t bytes = es_display_line(p->step, room, &next);
    snprintf(line, sizeof line, "  %.*s", (int)bytes, p->step);
    put_line(p, line);
    if (p->step[next] != '\0') {
        snprintf(line, sizeof line, "  %s", p->step + next);
        put_line(p, line);
    }
}

static void bar(double share, size_t columns, bool utf8, char *out, size_t size)
{
    size_t full = (size_t)(share * (double)columns + 0.5), n = 0;
    const char *on = utf8 ? "█" : "#", *off = utf8 ? "░" : ".";
    for (size_t i = 0; i < columns && n + 4 < size; i++)
        n += (size_t)snprintf(out + n, size - n, "%s", i < full ? on : off);
}

void es_progress_draw(struct es_progress *p, es_time now)
{
    if (p->quiet || !p->screen->err_terminal || isnan(p->remaining) || now - p->drawn < DRAW_EVERY)
        return;
    p->drawn = now;
    es_progress_clear(p);
    char line[900], left[ES_NUMBER_SIZE], gauge[160] = "";
    double passed = p->since != 0 ? es_seconds(now - p->since) : 0;
    double remaining = isnan(p->remaining) ? NAN : fmax(p->remaining - passed, 0);
    es_number_duration(remaining, left);
    double share = 0;
    if (!isnan(remaining) && p->elapsed + passed + remaining > 0)
        share = (p->elapsed + passed) / (p->elapsed + passed + remaining);
    bar(fmin(share, 1), p->width > 70 ? 24 : 10, p->screen->utf8, gauge, sizeof gauge);
    snprintf(line, sizeof line, "%s %s left at most  %s", gauge, left, p->procedure);
    put_line(p, line);
    put_step(p);
    for (const char *next = p->values; *next != '\0';) {
        size_t length = strcspn(next, "\n");
        snprintf(line, sizeof line, "  %.*s", (int)length, next);
        put_line(p, line);
        next += length + (next[length] == '\n');
    }
    (void)fflush(stderr);
}
