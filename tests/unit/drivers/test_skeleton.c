/* The skeleton of docs/add-a-driver.md compiles and works. */
#include <criterion/criterion.h>

#include "tests/support/wires/peer.h"
#include "tests/unit/drivers/skeleton_driver.h"

static size_t answer(void *self, struct peer *p, const uint8_t *bytes, size_t count, es_time arrived)
{
    (void)self;
    static const uint8_t value = 0xA5;
    for (size_t i = 0; i < count; i++)
        if (bytes[i] == '?')
            peer_send(p, &value, 1, arrived);
    return count;
}

Test(skeleton, reads)
{
    struct peer *p = peer_start(PEER_TERMINAL, answer, NULL);
    const struct skeleton_bus settings = {(char *)peer_path(p)};
    const struct skeleton_instrument instrument = {(char *)"?"};
    const struct es_instrument_common common = {
        .name = "byte", .timeout = 0.5, .turn_around = 0.01, .settings = &instrument};
    const struct skeleton_channel channels[] = {{-1}, {0}, {1}};
    struct es_point points[3];
    const struct es_request *requests;
    size_t count;
    struct es_bus *bus;
    struct es_error err;
    struct es_raw raw[3];
    struct es_stamp stamp;
    for (size_t i = 0; i < 3; i++)
        points[i] = (struct es_point){0, &channels[i], false};
    cr_assert_eq(skeleton_driver.open(&settings, &common, 1, &bus, &err), ES_OK, "%s", err.text);
    cr_assert_eq(skeleton_driver.plan(bus, points, 3, &requests, &count, &err), ES_OK);
    cr_assert_eq(skeleton_driver.read(bus, 0, raw, &stamp, &err), ES_OK, "%s", err.text);
    cr_expect(raw[0].value == 0xA5 && raw[1].value == 1 && raw[2].value == 0);
    skeleton_driver.close(bus);
    peer_stop(p);
}
