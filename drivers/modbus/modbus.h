/* The modbus driver's settings, as the bench file gives them, and the pure half of the driver: registers to
 * numbers and back, points to requests. Everything here is free of I/O and safe from any thread.
 * Sources: Modbus Application Protocol V1.1b3; Modbus over Serial Line V1.02. */
#ifndef ES_DRIVERS_MODBUS_H
#define ES_DRIVERS_MODBUS_H

#include <stdint.h>

#include "drivers/driver.h"

enum es_modbus_mode { ES_MODBUS_RTU, ES_MODBUS_TCP };
enum es_modbus_table { ES_MODBUS_COIL, ES_MODBUS_DISCRETE, ES_MODBUS_HOLDING, ES_MODBUS_INPUT };
enum es_modbus_type {
    ES_MODBUS_BIT, /* a coil, a discrete input, or one bit of a register */
    ES_MODBUS_INT16,
    ES_MODBUS_UINT16,
    ES_MODBUS_INT32,
    ES_MODBUS_UINT32,
    ES_MODBUS_FLOAT32,
    ES_MODBUS_FLOAT64
};
enum es_modbus_identify {
    ES_MODBUS_IDENTIFY_REREAD,
    ES_MODBUS_IDENTIFY_REGISTER,
    ES_MODBUS_IDENTIFY_SERVER_ID
};
enum es_modbus_write_form { ES_MODBUS_WRITE_SHORTEST, ES_MODBUS_WRITE_MULTIPLE };

/* Largest quantities of one request (Application Protocol V1.1b3, 6.1 to 6.4). */
#define ES_MODBUS_MAX_REGISTERS 125
#define ES_MODBUS_MAX_BITS      2000

struct es_modbus_bus {
    int mode;      /* enum es_modbus_mode */
    char *device;  /* RTU: path of the port; absolute after check_bus */
    char *adapter; /* RTU: USB serial number of the adapter, found under whatever name; NULL: any */
    long baud;
    int parity;     /* 0 even, 1 odd, 2 none */
    long stop_bits; /* 0: what makes a character 11 bits */
    double silence; /* s before each request; 0: 3.5 characters, 1.75 ms above 19200 baud */
    char *host;     /* TCP */
    long port;
    double connect_timeout; /* s */
    char *byte_trace;       /* file for the byte trace; NULL: none */
};

struct es_modbus_instrument {
    long unit;          /* RTU 1..247, TCP 0..255 */
    long gap;           /* most unwanted registers (or 16 bits) read between two wanted ones */
    long max_registers; /* most registers that the instrument gives in one answer */
    long max_bits;
    char *unreadable;   /* "100-199, 300": addresses never read across; NULL: none */
    int write_form;     /* enum es_modbus_write_form */
    int identify;       /* enum es_modbus_identify */
    int identity_table; /* 0 holding, 1 input */
    long identity_address;
    long identity_count; /* registers */
};

struct es_modbus_channel {
    int table;        /* enum es_modbus_table */
    long address;     /* as on the wire, from 0 */
    int type;         /* enum es_modbus_type */
    char *word_order; /* NULL or "high first", "low first", or digits: "2143" = second highest word first */
    int byte_order;   /* within a word: 0 high first, 1 low first */
    long bit;         /* of a register, 0 = lowest; -1: none */
    char *no_value;   /* registers' pattern that means "no value", "0x8000" or "-32768"; NULL: none */
    bool read_back;   /* after a write, read and compare */
};

/* How many registers a type takes: 1, 2 or 4. */
size_t es_modbus_words(enum es_modbus_type type);

#define ES_MODBUS_WORDS_MAX 4 /* of one value: 64 bits */

/* A channel's word order as positions: order[p] = significance (0 = highest) of the word at address + p.
 * False when the text is no order of the type's words. */
bool es_modbus_word_order(const struct es_modbus_channel *c, uint8_t order[static ES_MODBUS_WORDS_MAX]);

/* Registers, in the order of their addresses, to a number and back. `words` has es_modbus_words() entries.
 * Decoding: valid is false for NaN, infinities and the "no value" pattern. Encoding: ES_RANGE when the number
 * does not fit the type; integers are rounded to the nearest (halves away from zero). Not for ES_MODBUS_BIT.
 */
struct es_raw es_modbus_decode(const struct es_modbus_channel *c, const uint16_t *words);
enum es_status es_modbus_encode(const struct es_modbus_channel *c, double value, uint16_t *words,
                                struct es_error *err) ES_MUST_CHECK;

/* Seconds of silence before a request, and seconds on the wire for `bytes`: 11 bits a character (Serial Line
 * V1.02, 2.5.1.1), fixed 1.75 ms above 19200 baud. */
double es_modbus_silence(long baud);
double es_modbus_wire_time(long baud, size_t bytes);

/* "illegal data address" for 2; "an exception that the specification does not name" for unknown codes. */
const char *es_modbus_exception_text(unsigned code);

extern const struct es_driver es_modbus_driver;

#endif
