/* One command and its answer: the line driver's half that knows the wire. One thread. */
#ifndef ES_DRIVERS_LINE_TALK_H
#define ES_DRIVERS_LINE_TALK_H

#include "drivers/line/line.h"
#include "drivers/transport/transport.h"

#define ES_LINE_ANSWER_MAX  2048 /* bytes */
#define ES_LINE_COMMAND_MAX 512

struct es_line_talk {
    const char *command; /* without its end */
    bool answers;
    es_time begun, ended; /* just before the first byte was sent (0: nothing was), just after the last came */
    size_t sent;          /* bytes */
    char answer[ES_LINE_ANSWER_MAX]; /* without its end and blanks around it, terminated */
    size_t length;
};

/* ES_OK, ES_TIMEOUT, ES_HANGUP, or ES_GARBLED: more than one answer, no echo, or bytes that nobody asked for
 * were waiting (then nothing was sent and begun is left as it was). `timeout` s, time on the wire excluded.
 */
enum es_status es_line_talk(struct es_transport *line, const struct es_line_bus *settings,
                            const struct es_line_instrument *instrument, double timeout,
                            struct es_line_talk *x, struct es_error *err) ES_MUST_CHECK;

/* Seconds that a character takes; 0 on TCP. */
double es_line_character(const struct es_line_bus *settings);

/* Text from outside, so that it can stand in a message. */
void es_line_shorten(const char *text, size_t length, char out[static 80]);

#endif
