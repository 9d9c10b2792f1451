#include <math.h>
#include <stdarg.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "rig/client/progress.h"
#include "rig/client/talk.h"
#include "rig/console/display.h"
#include "rig/console/number.h"

#define DRAW_EVERY (ES_NS_PER_S / 5)

/* Roles in the order in which they are shown as long as there is room. */
static const char *const shown[] = {
    "supply pressure", "output 1 pressure", "output 2 pressure", "loop current", "travel",
    "shaft angle",     "output 1 flow",     "output 2 flow",     "sensor ratio",
};

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

void es_progress_say(struct es_progress *p, const char *format, ...)
{
    struct es_text text = {0}, clean = {0};
    va_list args;
    va_start(args, format);
    es_text_vprintf(&text, format, args);
    va_end(args);
    if (text.bytes != NULL)
        es_text_visible(&clean, text.bytes, text.length);
    es_progress_clear(p);
    if (clean.bytes != NULL)
        es_display_wrap(clean.bytes, 0, p->width, stderr);
    (void)fflush(stderr);
    es_text_free(&clean);
    es_text_free(&text);
}

/* Four digits or so, however large the unit makes the number. */
static void value_number(double value, char out[static ES_NUMBER_SIZE])
{
    double size = fabs(value);
    es_number_round(value, size < 10 ? 3 : size < 100 ? 2 : size < 1000 ? 1 : 0, out);
}

static void take_values(struct es_progress *p, const cJSON *values)
{
    size_t used = 0, columns = 0;
    p->values[0] = '\0';
    for (size_t i = 0; i < sizeof shown / sizeof shown[0]; i++) {
        const cJSON *item = es_member(values, shown[i]);
        if (item == NULL)
            continue;
        char text[120], number[ES_NUMBER_SIZE];
        double value = es_member_number(item, "value");
        if (isnan(value)) {
            snprintf(text, sizeof text, "%s %s", shown[i], es_member_text(item, "quality"));
        } else {
            value_number(value, number);
            snprintf(text, sizeof text, "%s %s %s", shown[i], number, es_member_text(item, "unit"));
        }
        char clean[160];
        copy_visible(text, clean, sizeof clean);
        size_t width = es_display_width(clean) + (used > 0 ? 3 : 0);
        if (columns + width > p->width - 2 || used + strlen(clean) + 4 > sizeof p->values)
            break;
        used +=
            (size_t)snprintf(p->values + used, sizeof p->values - used, "%s%s", used > 0 ? "   " : "", clean);
        columns += width;
    }
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
    snprintf(line, sizeof line, "  %s", p->step);
    put_line(p, line);
    snprintf(line, sizeof line, "  %s", p->values);
    put_line(p, line);
    (void)fflush(stderr);
}
