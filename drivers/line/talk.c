#include "drivers/line/talk.h"

#include <stdio.h>
#include <string.h>

double es_line_character(const struct es_line_bus *s)
{
    if (s->mode == ES_LINE_TCP)
        return 0;
    return (double)(1 + s->data_bits + (s->parity != ES_PARITY_NONE) + s->stop_bits) / (double)s->baud;
}

void es_line_shorten(const char *text, size_t length, char out[static 80])
{
    size_t n = 0;
    for (size_t i = 0; i < length && n < 70; i++) {
        char c = text[i];
        out[n++] = c >= ' ' && c < 0x7f ? c : '?';
    }
    memcpy(out + n, length > 70 ? "..." : "", length > 70 ? 4 : 1);
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static void trim(struct es_line_talk *x, size_t length)
{
    size_t first = 0;
    while (length > 0 && is_blank(x->answer[length - 1]))
        length--;
    while (first < length && is_blank(x->answer[first]))
        first++;
    memmove(x->answer, x->answer + first, length - first);
    x->length = length - first;
    x->answer[x->length] = '\0';
}

/* Bytes until the end of the answer; blanks and line ends around it are taken off. */
static enum es_status receive(struct es_transport *line, const char *end, es_time deadline,
                              struct es_line_talk *x, struct es_error *err)
{
    size_t have = 0, end_length = strlen(end);
    char shown[80];
    for (;;) {
        size_t got;
        enum es_status status = es_transport_read(line, (uint8_t *)x->answer + have,
                                                  sizeof x->answer - 1 - have, deadline, &got, err);
        if (status == ES_TIMEOUT && have > 0) {
            es_line_shorten(x->answer, have, shown);
            return es_fail(err, ES_TIMEOUT, "the answer to \"%s\" broke off: \"%s\"", x->command, shown);
        }
        if (status == ES_TIMEOUT)
            return es_fail(err, ES_TIMEOUT, "no answer to \"%s\" in time", x->command);
        if (status != ES_OK)
            return status;
        have += got;
        x->ended = es_clock_now();
        char *stop = memmem(x->answer, have, end, end_length);
        size_t behind = stop ? have - (size_t)(stop - x->answer) - end_length : 0;
        if (behind > 0) {
            es_line_shorten(stop + end_length, behind, shown);
            return es_fail(err, ES_GARBLED, "more than one answer came to \"%s\": also \"%s\"", x->command,
                           shown);
        }
        if (stop) {
            trim(x, (size_t)(stop - x->answer));
            return ES_OK;
        }
        if (have == sizeof x->answer - 1)
            return es_fail(err, ES_GARBLED, "the answer to \"%s\" does not end after %zu bytes", x->command,
                           have);
    }
}

/* Echoes come back before the answer and must be the command. */
static enum es_status take_echo(struct es_transport *line, const char *sent, size_t count, es_time deadline,
                                struct es_error *err)
{
    for (size_t at = 0; at < count;) {
        uint8_t bytes[ES_LINE_COMMAND_MAX];
        size_t got;
        enum es_status status = es_transport_read(line, bytes, count - at, deadline, &got, err);
        if (status == ES_TIMEOUT)
            return es_fail(err, ES_TIMEOUT, "no echo in time");
        if (status != ES_OK)
            return status;
        if (memcmp(bytes, sent + at, got) != 0)
            return es_fail(err, ES_GARBLED, "what came is no echo of the command");
        at += got;
    }
    return ES_OK;
}

static enum es_status check_nothing_waits(struct es_transport *line, struct es_error *err)
{
    uint8_t waste[64];
    size_t got;
    enum es_status status = es_transport_read(line, waste, sizeof waste, es_clock_now(), &got, err);
    if (status == ES_TIMEOUT) {
        es_error_clear(err);
        return ES_OK;
    }
    return status == ES_OK ? es_fail(err, ES_GARBLED, "bytes came that nobody asked for") : status;
}

enum es_status es_line_talk(struct es_transport *line, const struct es_line_bus *settings,
                            const struct es_line_instrument *instrument, double timeout,
                            struct es_line_talk *x, struct es_error *err)
{
    char command[ES_LINE_COMMAND_MAX];
    int n = snprintf(command, sizeof command, "%s%s", x->command, instrument->command_end);
    if (n < 0 || (size_t)n >= sizeof command)
        return es_fail(err, ES_RANGE, "the command \"%.40s...\" is longer than %d bytes", x->command,
                       ES_LINE_COMMAND_MAX);
    enum es_status status = check_nothing_waits(line, err);
    if (status != ES_OK)
        return status;
    x->sent = (size_t)n;
    x->begun = x->ended = es_clock_now();
    double wire = es_line_character(settings);
    es_time deadline = x->begun + es_from_seconds(timeout + wire * (double)n);
    status = es_transport_write(line, (const uint8_t *)command, (size_t)n, deadline, err);
    if (status == ES_OK && settings->echo)
        status = take_echo(line, command, (size_t)n, deadline + es_from_seconds(wire * n), err);
    if (status == ES_OK && x->answers)
        status = receive(line, instrument->answer_end, deadline + es_from_seconds(wire * 80), x, err);
    if (status == ES_OK && !x->answers)
        status = es_transport_drain(line, deadline, err);
    return status;
}
