#include "rig/base/unit_hint.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "rig/base/nearest.h"
#include "rig/base/unit_spelling.h"
#include "rig/base/units.h"

#define NO_STATE(unit_) "a volume of gas needs its reference state, such as \"" unit_ "\""
#define STANDARD(unit_) "\"standard\" is many states; a unit that tells its own is \"" unit_ "\""
#define COLUMN(liquid)  "a column of " liquid " weighs by its temperature; write \"mbar\""

/* What can mean several units. Case does not count. */
static const struct {
    const char *written, *hint;
    enum es_dimension dimension;
} habits[] = {
    {"kg/cm2", "write \"kgf/cm2\"", ES_DIM_PRESSURE},
    {"pascal", "write \"Pa\"", ES_DIM_PRESSURE},
    {"inH2O", COLUMN("water"), ES_DIM_PRESSURE},
    {"inWC", COLUMN("water"), ES_DIM_PRESSURE},
    {"mmH2O", COLUMN("water"), ES_DIM_PRESSURE},
    {"cmH2O", COLUMN("water"), ES_DIM_PRESSURE},
    {"inHg", COLUMN("mercury"), ES_DIM_PRESSURE},
    {"mmHg", COLUMN("mercury"), ES_DIM_PRESSURE},
    {"milliampere", "write \"mA\"", ES_DIM_CURRENT},
    {"l/h", NO_STATE("l/h ANR"), ES_DIM_FLOW},
    {"l/min", NO_STATE("l/min ANR"), ES_DIM_FLOW},
    {"lpm", NO_STATE("l/min ANR"), ES_DIM_FLOW},
    {"l/s", NO_STATE("l/s ANR"), ES_DIM_FLOW},
    {"ml/min", NO_STATE("ml/min ANR"), ES_DIM_FLOW},
    {"m3/h", NO_STATE("m3/h ANR"), ES_DIM_FLOW},
    {"cfh", NO_STATE("scfh"), ES_DIM_FLOW},
    {"cfm", NO_STATE("scfm"), ES_DIM_FLOW},
    {"ft3/h", NO_STATE("scfh"), ES_DIM_FLOW},
    {"mbar l/s", NO_STATE("mbar l/s (20 degC)"), ES_DIM_FLOW},
    {"Pa m3/s", NO_STATE("Pa m3/s (20 degC)"), ES_DIM_FLOW},
    {"slpm", STANDARD("Nl/min"), ES_DIM_FLOW},
    {"sl/min", STANDARD("Nl/min"), ES_DIM_FLOW},
    {"sl/h", STANDARD("Nl/h"), ES_DIM_FLOW},
    {"sm3/h", STANDARD("m3/h ISO 2533"), ES_DIM_FLOW},
    {"sccm", STANDARD("sccm (0 degC)"), ES_DIM_FLOW},
};

static bool fits(enum es_dimension asked, enum es_dimension d)
{
    return asked == ES_DIM_COUNT || asked == d;
}

static bool by_habit(const char *written, enum es_dimension d, char out[ES_UNIT_HINT_SIZE])
{
    for (size_t i = 0; i < sizeof habits / sizeof habits[0]; i++)
        if (fits(d, habits[i].dimension) && strcasecmp(written, habits[i].written) == 0) {
            (void)snprintf(out, ES_UNIT_HINT_SIZE, " (%s)", habits[i].hint);
            return true;
        }
    return false;
}

/* The unit that is written so elsewhere. */
static bool by_spelling(const char *written, enum es_dimension d, char out[ES_UNIT_HINT_SIZE])
{
    enum es_unit_state state;
    const struct es_unit *unit = es_unit_find_spelled(written, strlen(written), &state);
    if (unit == NULL || !fits(d, unit->dimension) || strcmp(unit->name, written) == 0)
        return false;
    (void)snprintf(out, ES_UNIT_HINT_SIZE,
                   state == ES_UNIT_PLAIN ? " (write \"%s\")"
                                          : " (pressures are gauge unless their name says absolute; write "
                                            "\"%s\")",
                   unit->name);
    return true;
}

void es_unit_hint(const char *written, enum es_dimension d, char out[ES_UNIT_HINT_SIZE])
{
    struct es_nearest nearest = {.word = written};
    char plain[ES_UNIT_PLAIN_SIZE];

    es_unit_make_plain(written, strlen(written), plain);
    out[0] = '\0';
    if (by_habit(plain, d, out) || by_spelling(written, d, out))
        return;
    for (size_t i = 0; i < es_unit_count; i++)
        if (fits(d, es_units[i].dimension))
            es_nearest_offer(&nearest, es_units[i].name);
    if (nearest.best != NULL)
        (void)snprintf(out, ES_UNIT_HINT_SIZE, " (did you mean \"%s\"?)", nearest.best);
}
