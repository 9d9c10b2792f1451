/* Reads and writes a Modbus server by orders on standard input, through the driver as the program uses it.
 * Played against a server stack that is not libmodbus by pymodbus_bench.py.
 *
 *   modbus_check rtu DEVICE UNIT [TRACE] | modbus_check tcp PORT UNIT [TRACE]      TRACE: file for the byte
 * trace read  TABLE ADDRESS TYPE WORD-ORDER BYTE-ORDER BIT VALUE     VALUE may be "none" write TABLE ADDRESS
 * TYPE WORD-ORDER BYTE-ORDER BIT VALUE WORD-ORDER: "-" or without blanks, "low-first". Reads are planned
 * together and repeated; exit status 1 when any value differs. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drivers/driver.h"
#include "drivers/modbus/modbus.h"

#define MAX 512

struct order {
    bool write;
    struct es_modbus_channel channel;
    char word_order[16];
    char value[40];
};

static int index_of(const char *word, const char *const *list)
{
    for (int i = 0; list[i]; i++)
        if (strcmp(word, list[i]) == 0)
            return i;
    fprintf(stderr, "unknown word %s\n", word);
    exit(2);
}

static bool read_order(struct order *o)
{
    static const char *const tables[] = {"coil", "discrete", "holding", "input", NULL};
    static const char *const types[] = {"bit",    "int16",   "uint16",  "int32",
                                        "uint32", "float32", "float64", NULL};
    static const char *const orders[] = {"high", "low", NULL};
    char verb[16], table[16], type[16], byte_order[16];
    long address, bit;
    if (scanf("%15s %15s %ld %15s %15s %15s %ld %39s", verb, table, &address, type, o->word_order, byte_order,
              &bit, o->value) != 8)
        return false;
    o->write = strcmp(verb, "write") == 0;
    o->channel = (struct es_modbus_channel){.table = index_of(table, tables),
                                            .address = address,
                                            .type = index_of(type, types),
                                            .bit = bit,
                                            .byte_order = index_of(byte_order, orders),
                                            .read_back = true};
    if (strcmp(o->word_order, "low-first") == 0)
        o->word_order[3] = ' ';
    if (strcmp(o->word_order, "-") != 0)
        o->channel.word_order = o->word_order;
    return true;
}

static bool same(const struct order *o, struct es_raw raw)
{
    bool none = strcmp(o->value, "none") == 0;
    if (none ? !raw.valid : raw.valid && raw.value == strtod(o->value, NULL))
        return true;
    printf("holding/input %ld: read %.17g (%s), expected %s\n", o->channel.address, raw.value,
           raw.valid ? "valid" : "not valid", o->value);
    return false;
}

static bool run_writes(struct es_bus *bus, const struct order *orders, size_t count)
{
    struct es_error err;
    struct es_stamp stamp;
    bool good = true;
    for (size_t i = 0; i < count; i++) {
        const struct es_point point = {0, &orders[i].channel, true};
        if (orders[i].write &&
            es_modbus_driver.write(bus, &point, strtod(orders[i].value, NULL), &stamp, &err) != ES_OK) {
            printf("%s\n", err.text);
            good = false;
        }
    }
    return good;
}

static bool run_reads(struct es_bus *bus, const struct order *orders, size_t count)
{
    static struct es_point points[MAX];
    static const struct order *of_point[MAX];
    size_t n = 0, request_count = 0;
    const struct es_request *requests;
    struct es_error err;
    bool good = true;
    for (size_t i = 0; i < count; i++) {
        if (orders[i].write)
            continue;
        of_point[n] = &orders[i];
        points[n++] = (struct es_point){0, &orders[i].channel, false};
    }
    if (es_modbus_driver.plan(bus, points, n, &requests, &request_count, &err) != ES_OK) {
        printf("%s\n", err.text);
        return false;
    }
    for (int round = 0; round < 3; round++) {
        for (size_t r = 0; r < request_count; r++) {
            struct es_raw values[MAX];
            struct es_stamp stamp;
            if (es_modbus_driver.read(bus, r, values, &stamp, &err) != ES_OK) {
                printf("%s\n", err.text);
                return false;
            }
            for (size_t v = 0; v < requests[r].count; v++)
                good &= same(of_point[requests[r].point_index[v]], values[v]);
        }
    }
    printf("%zu values in %zu requests\n", n, request_count);
    return good && n > 0;
}

int main(int argc, char **argv)
{
    static struct order orders[MAX];
    size_t count = 0;
    if (argc != 4 && argc != 5)
        return 2;
    bool tcp = strcmp(argv[1], "tcp") == 0;
    const struct es_modbus_bus settings = {.mode = tcp ? ES_MODBUS_TCP : ES_MODBUS_RTU,
                                           .device = argv[2],
                                           .baud = 57600,
                                           .parity = 2,
                                           .host = "127.0.0.1",
                                           .port = strtol(argv[2], NULL, 10),
                                           .connect_timeout = 2,
                                           .byte_trace = argc == 5 ? argv[4] : NULL};
    const struct es_modbus_instrument instrument = {.unit = strtol(argv[3], NULL, 10),
                                                    .gap = 4,
                                                    .max_registers = 125,
                                                    .max_bits = 2000,
                                                    .identity_count = 1};
    const struct es_instrument_common common = {
        .name = "bench", .timeout = 2, .turn_around = 0.1, .settings = &instrument};
    struct es_bus *bus;
    struct es_error err;
    while (count < MAX && read_order(&orders[count]))
        count++;
    if (es_modbus_driver.open(&settings, &common, 1, &bus, &err) != ES_OK) {
        printf("%s\n", err.text);
        return 1;
    }
    bool good = run_writes(bus, orders, count);
    good &= run_reads(bus, orders, count);
    es_modbus_driver.close(bus);
    return good ? 0 : 1;
}
