/* Registers to numbers and back; times on the wire; exceptions in words. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/modbus/modbus.h"

static const size_t type_words[] = {
    [ES_MODBUS_BIT] = 1,    [ES_MODBUS_INT16] = 1,   [ES_MODBUS_UINT16] = 1,  [ES_MODBUS_INT32] = 2,
    [ES_MODBUS_UINT32] = 2, [ES_MODBUS_FLOAT32] = 2, [ES_MODBUS_FLOAT64] = 4,
};

size_t es_modbus_words(enum es_modbus_type type)
{
    return type_words[type];
}

bool es_modbus_word_order(const struct es_modbus_channel *c, uint8_t order[static ES_MODBUS_WORDS_MAX])
{
    size_t n = type_words[c->type];
    if (n > ES_MODBUS_WORDS_MAX)
        return false;
    const char *text = c->word_order ? c->word_order : "high first";
    bool high = strcmp(text, "high first") == 0, low = strcmp(text, "low first") == 0;
    if (high || low) {
        for (size_t i = 0; i < n; i++)
            order[i] = (uint8_t)(high ? i : n - 1 - i);
        return true;
    }
    unsigned seen = 0;
    if (strlen(text) != n)
        return false;
    for (size_t i = 0; i < n; i++) {
        int digit = text[i] - '1';
        if (digit < 0 || (size_t)digit >= n)
            return false;
        order[i] = (uint8_t)digit;
        seen |= 1u << digit;
    }
    return seen == (1u << n) - 1;
}

static uint16_t swap_bytes(const struct es_modbus_channel *c, uint16_t word)
{
    return c->byte_order ? (uint16_t)(word << 8 | word >> 8) : word;
}

/* The words as one number, the most significant first. */
static uint64_t gather(const struct es_modbus_channel *c, const uint16_t *words)
{
    uint8_t order[ES_MODBUS_WORDS_MAX] = {0, 1, 2, 3};
    size_t n = type_words[c->type];
    (void)es_modbus_word_order(c, order); /* checked when the bench file was read */
    uint64_t bits = 0;
    for (size_t i = 0; i < n; i++)
        bits |= (uint64_t)swap_bytes(c, words[i]) << (16 * (n - 1 - order[i]));
    return bits;
}

static void scatter(const struct es_modbus_channel *c, uint64_t bits, uint16_t *words)
{
    uint8_t order[ES_MODBUS_WORDS_MAX] = {0, 1, 2, 3};
    size_t n = type_words[c->type];
    (void)es_modbus_word_order(c, order);
    for (size_t i = 0; i < n; i++)
        words[i] = swap_bytes(c, (uint16_t)(bits >> (16 * (n - 1 - order[i]))));
}

/* A pattern as written in the bench file, cut to the type's width. */
static bool is_no_value(const struct es_modbus_channel *c, uint64_t bits)
{
    if (!c->no_value)
        return false;
    uint64_t pattern = c->no_value[0] == '-' ? (uint64_t)strtoll(c->no_value, NULL, 0)
                                             : (uint64_t)strtoull(c->no_value, NULL, 0);
    unsigned width = (unsigned)(16 * type_words[c->type]);
    if (width < 64)
        pattern &= (UINT64_C(1) << width) - 1;
    return bits == pattern;
}

struct es_raw es_modbus_decode(const struct es_modbus_channel *c, const uint16_t *words)
{
    uint64_t bits = gather(c, words);
    struct es_raw raw = {0};
    uint32_t bits32 = (uint32_t)bits;
    float f;
    switch (c->type) {
    case ES_MODBUS_INT16:
        raw.value = (int16_t)(uint16_t)bits;
        break;
    case ES_MODBUS_UINT16:
        raw.value = (uint16_t)bits;
        break;
    case ES_MODBUS_INT32:
        raw.value = (int32_t)bits32;
        break;
    case ES_MODBUS_UINT32:
        raw.value = bits32;
        break;
    case ES_MODBUS_FLOAT32:
        memcpy(&f, &bits32, sizeof f);
        raw.value = (double)f;
        break;
    case ES_MODBUS_FLOAT64:
        memcpy(&raw.value, &bits, sizeof raw.value);
        break;
    default: /* one bit of a register */
        raw.value = c->bit >= 0 ? (double)((bits >> c->bit) & 1) : (double)(bits & 1);
        break;
    }
    raw.valid = isfinite(raw.value) && !is_no_value(c, bits);
    return raw;
}

static enum es_status encode_integer(const struct es_modbus_channel *c, double value, uint16_t *words,
                                     struct es_error *err)
{
    static const struct {
        double low, high;
    } ranges[] = {
        [ES_MODBUS_INT16] = {INT16_MIN, INT16_MAX},
        [ES_MODBUS_UINT16] = {0, UINT16_MAX},
        [ES_MODBUS_INT32] = {INT32_MIN, INT32_MAX},
        [ES_MODBUS_UINT32] = {0, UINT32_MAX},
    };
    double whole = round(value);
    if (!(whole >= ranges[c->type].low && whole <= ranges[c->type].high))
        return es_fail(err, ES_RANGE, "%g does not fit the register: its type holds %.0f to %.0f", value,
                       ranges[c->type].low, ranges[c->type].high);
    scatter(c, (uint64_t)(int64_t)whole, words);
    return ES_OK;
}

enum es_status es_modbus_encode(const struct es_modbus_channel *c, double value, uint16_t *words,
                                struct es_error *err)
{
    if (!isfinite(value))
        return es_fail(err, ES_RANGE, "only a finite number can be written");
    if (c->type == ES_MODBUS_FLOAT64) {
        uint64_t bits;
        memcpy(&bits, &value, sizeof bits);
        scatter(c, bits, words);
        return ES_OK;
    }
    if (c->type == ES_MODBUS_FLOAT32) {
        float f = (float)value;
        uint32_t bits;
        if (!isfinite(f))
            return es_fail(err, ES_RANGE, "%g does not fit a float32 register", value);
        memcpy(&bits, &f, sizeof bits);
        scatter(c, bits, words);
        return ES_OK;
    }
    if (c->type == ES_MODBUS_BIT)
        return es_fail(err, ES_INTERNAL, "a bit has no register form");
    return encode_integer(c, value, words, err);
}

double es_modbus_wire_time(long baud, size_t bytes)
{
    return (double)bytes * 11.0 / (double)baud;
}

double es_modbus_silence(long baud)
{
    return baud > 19200 ? 0.00175 : 3.5 * es_modbus_wire_time(baud, 1);
}

const char *es_modbus_exception_text(unsigned code)
{
    /* Application Protocol V1.1b3, section 7. */
    switch (code) {
    case 0x01:
        return "illegal function";
    case 0x02:
        return "illegal data address";
    case 0x03:
        return "illegal data value";
    case 0x04:
        return "server device failure";
    case 0x05:
        return "acknowledge: it works on it and is not ready";
    case 0x06:
        return "server device busy";
    case 0x08:
        return "memory parity error";
    case 0x0A:
        return "gateway path unavailable";
    case 0x0B:
        return "gateway target device failed to respond";
    default:
        return "an exception that the specification does not name";
    }
}
