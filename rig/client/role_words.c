#include <math.h>
#include <string.h>

#include "rig/base/role.h"
#include "rig/client/role_words.h"

static const struct {
    enum es_role role;
    const char *off, *on;
} words[] = {
    {ES_ROLE_SHAFT_COUPLING, "free", "coupled"},
    {ES_ROLE_SUPPLY_VALVE, "shut", "open"},
    {ES_ROLE_OUTPUT_1_ISOLATING, "shut", "open"},
    {ES_ROLE_OUTPUT_1_VENT, "shut", "open"},
    {ES_ROLE_OUTPUT_2_ISOLATING, "shut", "open"},
    {ES_ROLE_OUTPUT_2_VENT, "shut", "open"},
    {ES_ROLE_AUXILIARY_SUPPLY, "off", "on"},
    {ES_ROLE_EMERGENCY_STOP, "PRESSED", "healthy"},
    {ES_ROLE_GUARD, "OPEN", "closed"},
};

const char *es_role_state_word(const char *role, double value)
{
    enum es_role found = es_role_find(role);
    if (found == ES_ROLE_NONE || isnan(value) || !es_role_info(found)->is_state)
        return NULL;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (words[i].role == found)
            return value != 0 ? words[i].on : words[i].off;
    return value != 0 ? "on" : "off";
}
