#include "rig/base/unit_spelling.h"

#include <string.h>

/* A sign's bytes, and ours. "\xb0" and the like: as Latin-1 has them, which UTF-8 cannot contain so. */
static const struct {
    const char *written, *plain;
} signs[] = {
    {"\xc2\xb0", "deg"},
    {"\xb0", "deg"},          /* degree */
    {"\xc2\xba", "deg"},      /* ordinal sign, taken for it */
    {"\xe2\x84\x83", "degC"}, /* degree Celsius in one sign */
    {"\xc2\xb5", "u"},
    {"\xb5", "u"},     /* micro */
    {"\xce\xbc", "u"}, /* mu */
    {"\xc2\xb2", "2"},
    {"\xb2", "2"}, /* squared */
    {"\xc2\xb3", "3"},
    {"\xb3", "3"}, /* cubed */
    {"\xce\xa9", "ohm"},
    {"\xe2\x84\xa6", "ohm"}, /* omega, ohm sign */
    {"\xc2\xa0", " "},
    {"\xa0", " "}, /* no-break space */
    {"^", ""},
};

/* Whole names. Case counts: "MPa" and "mPa", "mA" and "MA" are different things. */
static const struct {
    const char *written, *name;
    enum es_unit_state state;
} spellings[] = {
    {"pct", "%", ES_UNIT_PLAIN},
    {"percent", "%", ES_UNIT_PLAIN},
    {"per cent", "%", ES_UNIT_PLAIN},
    {"Bar", "bar", ES_UNIT_PLAIN},
    {"BAR", "bar", ES_UNIT_PLAIN},
    {"mBar", "mbar", ES_UNIT_PLAIN},
    {"millibar", "mbar", ES_UNIT_PLAIN},
    {"KPa", "kPa", ES_UNIT_PLAIN},
    {"kpa", "kPa", ES_UNIT_PLAIN},
    {"PSI", "psi", ES_UNIT_PLAIN},
    {"Psi", "psi", ES_UNIT_PLAIN},
    {"lbf/in2", "psi", ES_UNIT_PLAIN},
    {"barg", "bar", ES_UNIT_GAUGE},
    {"bar g", "bar", ES_UNIT_GAUGE},
    {"bar(g)", "bar", ES_UNIT_GAUGE},
    {"mbarg", "mbar", ES_UNIT_GAUGE},
    {"kPag", "kPa", ES_UNIT_GAUGE},
    {"kPa(g)", "kPa", ES_UNIT_GAUGE},
    {"psig", "psi", ES_UNIT_GAUGE},
    {"PSIG", "psi", ES_UNIT_GAUGE},
    {"bara", "bar", ES_UNIT_ABSOLUTE},
    {"bar a", "bar", ES_UNIT_ABSOLUTE},
    {"bar(a)", "bar", ES_UNIT_ABSOLUTE},
    {"mbara", "mbar", ES_UNIT_ABSOLUTE},
    {"kPaa", "kPa", ES_UNIT_ABSOLUTE},
    {"kPa(a)", "kPa", ES_UNIT_ABSOLUTE},
    {"psia", "psi", ES_UNIT_ABSOLUTE},
    {"ma", "mA", ES_UNIT_PLAIN},
    {"volt", "V", ES_UNIT_PLAIN},
    {"volts", "V", ES_UNIT_PLAIN},
    {"Deg", "deg", ES_UNIT_PLAIN},
    {"DEG", "deg", ES_UNIT_PLAIN},
    {"degree", "deg", ES_UNIT_PLAIN},
    {"degrees", "deg", ES_UNIT_PLAIN},
    {"C", "degC", ES_UNIT_PLAIN},
    {"F", "degF", ES_UNIT_PLAIN},
    {"deg C", "degC", ES_UNIT_PLAIN},
    {"deg F", "degF", ES_UNIT_PLAIN},
    {"MM", "mm", ES_UNIT_PLAIN},
    {"millimetre", "mm", ES_UNIT_PLAIN},
    {"millimeter", "mm", ES_UNIT_PLAIN},
    {"inch", "in", ES_UNIT_PLAIN},
    {"inches", "in", ES_UNIT_PLAIN},
    {"sec", "s", ES_UNIT_PLAIN},
    {"Sec", "s", ES_UNIT_PLAIN},
    {"secs", "s", ES_UNIT_PLAIN},
    {"second", "s", ES_UNIT_PLAIN},
    {"seconds", "s", ES_UNIT_PLAIN},
    {"msec", "ms", ES_UNIT_PLAIN},
    {"minute", "min", ES_UNIT_PLAIN},
    {"minutes", "min", ES_UNIT_PLAIN},
    {"hr", "h", ES_UNIT_PLAIN},
    {"hour", "h", ES_UNIT_PLAIN},
    {"hours", "h", ES_UNIT_PLAIN},
    {"NL/h", "Nl/h", ES_UNIT_PLAIN},
    {"NL/min", "Nl/min", ES_UNIT_PLAIN},
    {"NL/s", "Nl/s", ES_UNIT_PLAIN},
    {"NmL/min", "Nml/min", ES_UNIT_PLAIN},
    {"Nm3/hr", "Nm3/h", ES_UNIT_PLAIN},
    {"L/h ANR", "l/h ANR", ES_UNIT_PLAIN},
    {"L/min ANR", "l/min ANR", ES_UNIT_PLAIN},
    {"l/h (ANR)", "l/h ANR", ES_UNIT_PLAIN},
    {"l/min (ANR)", "l/min ANR", ES_UNIT_PLAIN},
    {"L/min (ANR)", "l/min ANR", ES_UNIT_PLAIN},
    {"m3/h (ANR)", "m3/h ANR", ES_UNIT_PLAIN},
    {"SCFH", "scfh", ES_UNIT_PLAIN},
    {"SCFM", "scfm", ES_UNIT_PLAIN},
};

size_t es_unit_make_plain(const char *text, size_t length, char out[ES_UNIT_PLAIN_SIZE])
{
    size_t n = 0;
    out[0] = '\0';
    for (size_t i = 0; i < length;) {
        const char *plain = NULL;
        size_t taken = 1, added;
        for (size_t k = 0; k < sizeof signs / sizeof signs[0] && plain == NULL; k++) {
            size_t size = strlen(signs[k].written);
            if (size <= length - i && memcmp(text + i, signs[k].written, size) == 0) {
                plain = signs[k].plain;
                taken = size;
            }
        }
        added = plain != NULL ? strlen(plain) : 1;
        if (n + added >= ES_UNIT_PLAIN_SIZE) {
            out[0] = '\0';
            return 0;
        }
        memcpy(out + n, plain != NULL ? plain : text + i, added);
        n += added;
        i += taken;
    }
    out[n] = '\0';
    return n;
}

const struct es_unit *es_unit_find_spelled(const char *text, size_t length, enum es_unit_state *state)
{
    char plain[ES_UNIT_PLAIN_SIZE];
    const struct es_unit *unit = es_unit_find(text, length);
    *state = ES_UNIT_PLAIN;
    if (unit != NULL)
        return unit;
    size_t n = es_unit_make_plain(text, length, plain);
    if (n == 0)
        return NULL;
    for (size_t i = 0; i < sizeof spellings / sizeof spellings[0]; i++)
        if (strcmp(plain, spellings[i].written) == 0) {
            *state = spellings[i].state;
            return es_unit_find(spellings[i].name, strlen(spellings[i].name));
        }
    return es_unit_find(plain, n);
}
