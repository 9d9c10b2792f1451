#include "rig/base/unit_hint.h"

#include <stdbool.h>
#include <stdio.h>
#include <strings.h>

#include "rig/base/nearest.h"
#include "rig/base/units.h"

#define GAUGE(unit_)    "pressures are gauge unless their name says absolute; write \"" unit_ "\""
#define NO_STATE(unit_) "a volume of gas needs its reference state, such as \"" unit_ "\""
#define STANDARD(unit_) "\"standard\" is many states; a unit that tells its own is \"" unit_ "\""
#define WRITE(unit_)    "write \"" unit_ "\""

/* Spellings that people use and that a comparison of letters would not find. Case does not count. */
static const struct {
    const char *written, *hint;
    enum es_dimension dimension;
} habits[] = {
    {"barg", GAUGE("bar"), ES_DIM_PRESSURE},
    {"bar g", GAUGE("bar"), ES_DIM_PRESSURE},
    {"bar(g)", GAUGE("bar"), ES_DIM_PRESSURE},
    {"bara", GAUGE("bar"), ES_DIM_PRESSURE},
    {"bar a", GAUGE("bar"), ES_DIM_PRESSURE},
    {"bar(a)", GAUGE("bar"), ES_DIM_PRESSURE},
    {"psig", GAUGE("psi"), ES_DIM_PRESSURE},
    {"psia", GAUGE("psi"), ES_DIM_PRESSURE},
    {"lbf/in2", WRITE("psi"), ES_DIM_PRESSURE},
    {"kg/cm2", WRITE("kgf/cm2"), ES_DIM_PRESSURE},
    {"pascal", WRITE("Pa"), ES_DIM_PRESSURE},
    {"millibar", WRITE("mbar"), ES_DIM_PRESSURE},
    {"percent", WRITE("%"), ES_DIM_RATIO},
    {"per cent", WRITE("%"), ES_DIM_RATIO},
    {"pct", WRITE("%"), ES_DIM_RATIO},
    {"\xC2\xB0", WRITE("deg"), ES_DIM_ANGLE},
    {"degree", WRITE("deg"), ES_DIM_ANGLE},
    {"degrees", WRITE("deg"), ES_DIM_ANGLE},
    {"\xC2\xB0"
     "C",
     WRITE("degC"), ES_DIM_TEMPERATURE},
    {"C", WRITE("degC"), ES_DIM_TEMPERATURE},
    {"\xC2\xB0"
     "F",
     WRITE("degF"), ES_DIM_TEMPERATURE},
    {"F", WRITE("degF"), ES_DIM_TEMPERATURE},
    {"\xC2\xB5m", WRITE("um"), ES_DIM_LENGTH},
    {"inch", WRITE("in"), ES_DIM_LENGTH},
    {"millimetre", WRITE("mm"), ES_DIM_LENGTH},
    {"millimeter", WRITE("mm"), ES_DIM_LENGTH},
    {"milliampere", WRITE("mA"), ES_DIM_CURRENT},
    {"sec", WRITE("s"), ES_DIM_TIME},
    {"second", WRITE("s"), ES_DIM_TIME},
    {"seconds", WRITE("s"), ES_DIM_TIME},
    {"msec", WRITE("ms"), ES_DIM_TIME},
    {"minute", WRITE("min"), ES_DIM_TIME},
    {"minutes", WRITE("min"), ES_DIM_TIME},
    {"hr", WRITE("h"), ES_DIM_TIME},
    {"hour", WRITE("h"), ES_DIM_TIME},
    {"hours", WRITE("h"), ES_DIM_TIME},
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

void es_unit_hint(const char *written, enum es_dimension d, char out[ES_UNIT_HINT_SIZE])
{
    struct es_nearest nearest = {.word = written};

    out[0] = '\0';
    if (by_habit(written, d, out))
        return;
    for (size_t i = 0; i < es_unit_count; i++)
        if (fits(d, es_units[i].dimension))
            es_nearest_offer(&nearest, es_units[i].name);
    if (nearest.best != NULL)
        (void)snprintf(out, ES_UNIT_HINT_SIZE, " (did you mean \"%s\"?)", nearest.best);
}
