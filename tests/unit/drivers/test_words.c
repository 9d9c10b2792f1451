#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "drivers/modbus/modbus.h"

static struct es_modbus_channel channel(int type, const char *word_order)
{
    return (struct es_modbus_channel){
        .table = ES_MODBUS_HOLDING, .type = type, .word_order = (char *)word_order, .bit = -1};
}

Test(words, sizes)
{
    cr_expect_eq(es_modbus_words(ES_MODBUS_INT16), 1);
    cr_expect_eq(es_modbus_words(ES_MODBUS_FLOAT32), 2);
    cr_expect_eq(es_modbus_words(ES_MODBUS_FLOAT64), 4);
}

Test(words, orders_that_are_none_are_refused)
{
    static const char *const bad[] = {"", "1", "13", "11", "high", "123", "21 ", "1234"};
    uint8_t order[4];
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct es_modbus_channel c = channel(ES_MODBUS_INT32, bad[i]);
        cr_expect_not(es_modbus_word_order(&c, order), "\"%s\" was taken", bad[i]);
    }
}

/* IEEE 754: 1.0 is 3F800000, pi as binary64 is 400921FB54442D18. */
Test(words, floats_in_every_order)
{
    static const struct {
        const char *order;
        uint16_t words[4];
    } rows[] = {{"high first", {0x4009, 0x21FB, 0x5444, 0x2D18}},
                {"low first", {0x2D18, 0x5444, 0x21FB, 0x4009}},
                {"2143", {0x21FB, 0x4009, 0x2D18, 0x5444}},
                {"3412", {0x5444, 0x2D18, 0x4009, 0x21FB}}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct es_modbus_channel c = channel(ES_MODBUS_FLOAT64, rows[i].order);
        uint16_t back[4];
        cr_expect_eq(es_modbus_decode(&c, rows[i].words).value, 3.14159265358979312, "%s", rows[i].order);
        cr_expect_eq(es_modbus_encode(&c, 3.14159265358979312, back, NULL), ES_OK);
        cr_expect_arr_eq(back, rows[i].words, sizeof back);
    }
    struct es_modbus_channel c = channel(ES_MODBUS_FLOAT32, NULL);
    c.byte_order = 1;
    cr_expect_eq(es_modbus_decode(&c, (const uint16_t[]){0x803F, 0x0000}).value, 1.0);
}

Test(words, every_integer_comes_back)
{
    static const struct {
        int type;
        double low, high;
    } rows[] = {{ES_MODBUS_INT16, -32768, 32767},
                {ES_MODBUS_UINT16, 0, 65535},
                {ES_MODBUS_INT32, -2147483648.0, 2147483647},
                {ES_MODBUS_UINT32, 0, 4294967295.0}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct es_modbus_channel c = channel(rows[i].type, NULL);
        const double values[] = {rows[i].low, rows[i].low + 1, 0, 1, 4711, rows[i].high - 1, rows[i].high};
        uint16_t words[4];
        for (size_t v = 0; v < sizeof values / sizeof values[0]; v++) {
            cr_expect_eq(es_modbus_encode(&c, values[v], words, NULL), ES_OK);
            cr_expect_eq(es_modbus_decode(&c, words).value, values[v]);
        }
        cr_expect_eq(es_modbus_encode(&c, rows[i].low - 1, words, NULL), ES_RANGE);
        cr_expect_eq(es_modbus_encode(&c, rows[i].high + 1, words, NULL), ES_RANGE);
        cr_expect_eq(es_modbus_encode(&c, rows[i].high + 0.4, words, NULL), ES_OK, "rounded to what fits");
        cr_expect_eq(es_modbus_encode(&c, NAN, words, NULL), ES_RANGE);
    }
}

Test(words, what_is_no_number_is_not_valid)
{
    struct es_modbus_channel c = channel(ES_MODBUS_FLOAT32, NULL);
    cr_expect_not(es_modbus_decode(&c, (const uint16_t[]){0x7FC0, 0}).valid, "NaN");
    cr_expect_not(es_modbus_decode(&c, (const uint16_t[]){0x7F80, 0}).valid, "infinity");
    cr_expect(es_modbus_decode(&c, (const uint16_t[]){0x3F80, 0}).valid);
    c = channel(ES_MODBUS_INT16, NULL);
    c.no_value = (char *)"0x8000";
    cr_expect_not(es_modbus_decode(&c, (const uint16_t[]){0x8000}).valid);
    cr_expect(es_modbus_decode(&c, (const uint16_t[]){0x7FFF}).valid);
    c.no_value = (char *)"-32768";
    cr_expect_not(es_modbus_decode(&c, (const uint16_t[]){0x8000}).valid);
    c = channel(ES_MODBUS_INT32, "low first");
    c.no_value = (char *)"0x80000000";
    cr_expect_not(es_modbus_decode(&c, (const uint16_t[]){0x0000, 0x8000}).valid);
}

Test(words, one_bit_of_a_register)
{
    struct es_modbus_channel c = channel(ES_MODBUS_BIT, NULL);
    c.bit = 10;
    cr_expect_eq(es_modbus_decode(&c, (const uint16_t[]){0x0400}).value, 1);
    cr_expect_eq(es_modbus_decode(&c, (const uint16_t[]){0xFBFF}).value, 0);
}

Test(words, float32_does_not_take_what_overflows)
{
    struct es_modbus_channel c = channel(ES_MODBUS_FLOAT32, NULL);
    uint16_t words[4] = {1, 2, 3, 4};
    cr_expect_eq(es_modbus_encode(&c, 1e39, words, NULL), ES_RANGE);
    cr_expect_eq(words[0], 1, "out-parameters are left on error");
}
