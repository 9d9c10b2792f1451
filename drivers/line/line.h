/* The line driver's settings, as the bench file gives them: instruments that answer text lines, in the manner
 * of IEEE 488.2 and SCPI, on a serial port or a TCP connection. */
#ifndef ES_DRIVERS_LINE_H
#define ES_DRIVERS_LINE_H

#include "drivers/driver.h"

enum es_line_mode { ES_LINE_SERIAL, ES_LINE_TCP };

struct es_line_bus {
    int mode;      /* enum es_line_mode */
    char *device;  /* path of the port; absolute after check_bus */
    char *adapter; /* USB serial number of the adapter, found under whatever name; NULL: any */
    long baud;
    long data_bits;
    int parity; /* 0 even, 1 odd, 2 none */
    long stop_bits;
    int flow; /* 0 none, 1 RTS/CTS, 2 XON/XOFF */
    char *host;
    long port;
    bool echo;        /* the instrument sends every character back before it answers */
    double gap;       /* s of rest after an answer, or after a command without one */
    char *byte_trace; /* file for the byte trace; NULL: none */
};

struct es_line_instrument {
    char *command_end; /* sent after each command, e.g. "\n" */
    char *answer_end;  /* ends each answer */
    char *identify;    /* command whose answer names the instrument, "*IDN?"; "" when it has none */
    char *start;       /* command sent once before the first other one and after a hang-up; NULL: none */
    char *error_query; /* sent after each write; NULL: none */
    char *error_free;  /* pattern of its answer when there is no error */
};

/* Texts are patterns of pattern.h. At least one of ask and set. */
struct es_line_channel {
    char *ask;        /* command that asks for the value; NULL: the channel cannot be read */
    char *answer;     /* pattern with one {number} or {state} */
    char *set;        /* command with one {value} or {state}; NULL: the channel cannot be written */
    char *set_answer; /* pattern of the answer to set; NULL: it gives none */
    long digits;      /* after the point, for {value} */
    char *read_back;  /* command asked after each write; its answer matches `answer`; NULL: none */
    double within;    /* largest difference between what was written and what is read back, raw */
};

extern const struct es_driver es_line_driver;

#endif
