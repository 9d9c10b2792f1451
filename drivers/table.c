/* The one list of drivers. */
#include <string.h>

#include "drivers/driver.h"
#include "drivers/line/line.h"
#include "drivers/modbus/modbus.h"

static const struct es_driver *const drivers[] = {&es_modbus_driver, &es_line_driver};

const struct es_driver *const *es_driver_list(size_t *count)
{
    *count = sizeof drivers / sizeof drivers[0];
    return drivers;
}

const struct es_driver *es_driver_find(const char *name)
{
    for (size_t i = 0; i < sizeof drivers / sizeof drivers[0]; i++)
        if (strcmp(drivers[i]->name, name) == 0)
            return drivers[i];
    return NULL;
}
