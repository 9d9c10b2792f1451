#include <criterion/criterion.h>
#include <stdlib.h>

#include "drivers/modbus/plan.h"

#define MAX 300

static struct es_modbus_instrument settings[2];
static struct es_instrument_common instruments[2];
static struct es_modbus_channel channels[MAX];
static struct es_point points[MAX];
static size_t count;

static void begin(long gap)
{
    count = 0;
    for (int i = 0; i < 2; i++) {
        settings[i] =
            (struct es_modbus_instrument){.unit = i + 1, .gap = gap, .max_registers = 125, .max_bits = 2000};
        instruments[i] = (struct es_instrument_common){.name = "x", .settings = &settings[i]};
    }
}

static void add(size_t instrument, int table, long address, int type)
{
    channels[count] = (struct es_modbus_channel){.table = table, .address = address, .type = type, .bit = -1};
    points[count] = (struct es_point){instrument, &channels[count], false};
    count++;
}

static struct es_modbus_plan make(void)
{
    struct es_modbus_plan plan;
    struct es_error err;
    cr_assert_eq(es_modbus_plan_make(instruments, points, count, &plan, &err), ES_OK);
    return plan;
}

static void expect_block(const struct es_modbus_plan *p, size_t i, unsigned address, unsigned length,
                         size_t n)
{
    cr_assert_lt(i, p->block_count);
    cr_expect_eq(p->blocks[i].address, address, "block %zu begins at %u", i, p->blocks[i].address);
    cr_expect_eq(p->blocks[i].count, length, "block %zu has %u", i, p->blocks[i].count);
    cr_expect_eq(p->blocks[i].points, n);
}

Test(plan, neighbours_in_any_order_are_one_request)
{
    begin(0);
    add(0, ES_MODBUS_HOLDING, 14, ES_MODBUS_FLOAT32);
    add(0, ES_MODBUS_HOLDING, 10, ES_MODBUS_FLOAT64);
    add(0, ES_MODBUS_HOLDING, 16, ES_MODBUS_INT16);
    struct es_modbus_plan p = make();
    cr_expect_eq(p.block_count, 1);
    expect_block(&p, 0, 10, 7, 3);
    cr_expect_eq(p.requests[0].point_index[0], 1);
    cr_expect_eq(p.requests[0].point_index[1], 0);
    es_modbus_plan_free(&p);
}

Test(plan, gaps_are_bridged_up_to_the_limit)
{
    begin(4);
    add(0, ES_MODBUS_INPUT, 0, ES_MODBUS_INT16);
    add(0, ES_MODBUS_INPUT, 5, ES_MODBUS_INT16);  /* 4 between */
    add(0, ES_MODBUS_INPUT, 11, ES_MODBUS_INT16); /* 5 between */
    struct es_modbus_plan p = make();
    cr_expect_eq(p.block_count, 2);
    expect_block(&p, 0, 0, 6, 2);
    expect_block(&p, 1, 11, 1, 1);
    es_modbus_plan_free(&p);
}

Test(plan, unreadable_addresses_are_never_crossed)
{
    begin(8);
    settings[0].unreadable = (char *)"3, 20-25";
    add(0, ES_MODBUS_HOLDING, 0, ES_MODBUS_INT16);
    add(0, ES_MODBUS_HOLDING, 2, ES_MODBUS_INT16);
    add(0, ES_MODBUS_HOLDING, 4, ES_MODBUS_INT16);
    add(0, ES_MODBUS_HOLDING, 19, ES_MODBUS_INT16);
    add(0, ES_MODBUS_HOLDING, 26, ES_MODBUS_INT16);
    struct es_modbus_plan p = make();
    cr_expect_eq(p.block_count, 4);
    expect_block(&p, 0, 0, 3, 2);
    expect_block(&p, 1, 4, 1, 1);
    es_modbus_plan_free(&p);
}

Test(plan, tables_and_instruments_stay_apart)
{
    begin(8);
    add(0, ES_MODBUS_HOLDING, 0, ES_MODBUS_INT16);
    add(0, ES_MODBUS_INPUT, 1, ES_MODBUS_INT16);
    add(1, ES_MODBUS_INPUT, 2, ES_MODBUS_INT16);
    add(0, ES_MODBUS_COIL, 1, ES_MODBUS_BIT);
    struct es_modbus_plan p = make();
    cr_expect_eq(p.block_count, 4);
    es_modbus_plan_free(&p);
}

/* V1.1b3, 6.1 and 6.3: at most 2000 bits, at most 125 registers. */
Test(plan, no_request_is_larger_than_the_specification_allows)
{
    begin(8);
    for (long a = 0; a < 200; a++)
        add(0, ES_MODBUS_HOLDING, a, ES_MODBUS_UINT16);
    for (long a = 0; a < 99; a++)
        add(0, ES_MODBUS_DISCRETE, a * 25, ES_MODBUS_BIT);
    struct es_modbus_plan p = make();
    cr_expect_eq(p.block_count, 4);
    for (size_t i = 0; i < p.block_count; i++)
        cr_expect_leq(p.blocks[i].count, p.blocks[i].table == ES_MODBUS_HOLDING ? 125 : 2000);
    es_modbus_plan_free(&p);
}

Test(plan, a_value_is_never_cut_in_two)
{
    begin(0);
    settings[0].max_registers = 10;
    for (long a = 0; a < 33; a++)
        add(0, ES_MODBUS_HOLDING, a * 4, ES_MODBUS_FLOAT64);
    struct es_modbus_plan p = make();
    for (size_t i = 0; i < p.block_count; i++)
        cr_expect_eq(p.blocks[i].count % 4, 0);
    es_modbus_plan_free(&p);
}

/* Whatever the points: each is in exactly one block, and wholly inside it. */
Test(plan, random_points_are_all_covered_once)
{
    unsigned seed = 7;
    for (int round = 0; round < 200; round++) {
        begin(rand_r(&seed) % 20);
        settings[0].max_registers = 4 + rand_r(&seed) % 122;
        settings[1].unreadable = (char *)"50-60, 100, 200-255";
        size_t n = (size_t)(1 + rand_r(&seed) % (MAX - 1));
        for (size_t i = 0; i < n; i++) {
            int table = rand_r(&seed) % 4;
            bool bit = table <= ES_MODBUS_DISCRETE;
            add((size_t)(rand_r(&seed) % 2), table, rand_r(&seed) % 400,
                bit ? ES_MODBUS_BIT : 1 + rand_r(&seed) % ES_MODBUS_FLOAT64);
        }
        struct es_modbus_plan p = make();
        unsigned seen[MAX] = {0};
        for (size_t b = 0; b < p.block_count; b++) {
            const struct es_modbus_block *block = &p.blocks[b];
            for (size_t k = 0; k < p.requests[b].count; k++) {
                size_t i = p.requests[b].point_index[k];
                seen[i]++;
                bool bit = channels[i].table <= ES_MODBUS_DISCRETE;
                long end = channels[i].address +
                           (bit ? 1 : (long)es_modbus_words((enum es_modbus_type)channels[i].type));
                cr_assert_eq(points[i].instrument, block->instrument);
                cr_assert_eq(channels[i].table, block->table);
                cr_assert(channels[i].address >= block->address && end <= block->address + block->count);
            }
            if (block->table >= ES_MODBUS_HOLDING)
                cr_assert_leq(block->count, settings[block->instrument].max_registers);
        }
        for (size_t i = 0; i < n; i++)
            cr_assert_eq(seen[i], 1, "round %d: point %zu is in %u blocks", round, i, seen[i]);
        es_modbus_plan_free(&p);
    }
}

Test(plan, ranges)
{
    static const char *const bad[] = {"x", "5-", "9-5", "-3", "1;2", "70000", "1 2"};
    cr_expect_null(es_modbus_ranges_fault("1"));
    cr_expect_null(es_modbus_ranges_fault("1-5, 7 , 9 - 12"));
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect_not_null(es_modbus_ranges_fault(bad[i]), "\"%s\" was taken", bad[i]);
    cr_expect(es_modbus_ranges_touch("5-9", 9, 12));
    cr_expect_not(es_modbus_ranges_touch("5-9", 10, 12));
    cr_expect_not(es_modbus_ranges_touch(NULL, 0, 65535));
}
