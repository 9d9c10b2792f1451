/* The settings of the skeleton driver; see docs/add-a-driver.md. */
#ifndef ES_TESTS_SKELETON_DRIVER_H
#define ES_TESTS_SKELETON_DRIVER_H

#include "drivers/driver.h"

struct skeleton_bus {
    char *device;
};

struct skeleton_instrument {
    char *letter;
};

struct skeleton_channel {
    long bit;
};

extern const struct es_driver skeleton_driver;

#endif
