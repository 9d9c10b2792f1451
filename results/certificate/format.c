#include "results/certificate/format.h"

#include <stdio.h>
#include <string.h>

#include "rig/base/text.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

enum kind { TEXT, TRUTH, OBJECT, ARRAY };

static bool is_kind(const cJSON *item, enum kind kind)
{
    switch (kind) {
    case TEXT:
        return cJSON_IsString(item);
    case TRUTH:
        return cJSON_IsBool(item);
    case OBJECT:
        return cJSON_IsObject(item);
    case ARRAY:
        return cJSON_IsArray(item);
    }
    return false;
}

struct demand {
    const char *parent, *name; /* parent NULL: at the top */
    enum kind kind;
    bool of_records; /* demanded of records too */
};

static const struct demand demands[] = {
    {NULL, "kind", TEXT, true},         {NULL, "title", TEXT, true},
    {NULL, "number", TEXT, true},       {NULL, "issued", TEXT, true},
    {NULL, "issuer", OBJECT, true},     {"issuer", "key", TEXT, true},
    {"issuer", "software", TEXT, true}, {NULL, "bench", OBJECT, true},
    {"bench", "virtual", TRUTH, true},  {"bench", "name", TEXT, false},
    {"bench", "station", TEXT, false},  {NULL, "unit", OBJECT, true},
    {"unit", "serial", TEXT, false},    {NULL, "run", OBJECT, true},
    {"run", "id", TEXT, true},          {"run", "began", TEXT, true},
    {"run", "ended", TEXT, false},      {"run", "completed", TRUTH, true},
    {"run", "person", TEXT, false},     {NULL, "type_sheet", OBJECT, false},
    {NULL, "plan", OBJECT, false},      {NULL, "procedures", ARRAY, true},
    {NULL, "lines", ARRAY, true},       {NULL, "instruments", ARRAY, true},
    {NULL, "statements", ARRAY, true},  {NULL, "verdict", TEXT, false},
};

static const char *line_fault(const cJSON *line, bool judged, size_t index, char *room, size_t size)
{
    static const struct {
        const char *name;
        enum kind kind;
        bool only_judged;
    } members[] = {{"procedure", TEXT, false}, {"measurand", TEXT, false}, {"unit", TEXT, false},
                   {"limit", OBJECT, false},   {"rule", TEXT, false},      {"verdict", TEXT, true}};
    for (size_t i = 0; i < COUNT(members); i++) {
        const cJSON *item = cJSON_GetObjectItemCaseSensitive(line, members[i].name);
        if ((judged || !members[i].only_judged) && !is_kind(item, members[i].kind)) {
            (void)snprintf(room, size, "its line %zu lacks \"%s\" or has it in the wrong kind", index + 1,
                           members[i].name);
            return room;
        }
    }
    return NULL;
}

const char *es_certificate_fault(const cJSON *root, char *room, size_t size)
{
    const char *kind = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "kind"));
    bool record = kind && strcmp(kind, "record") == 0;
    if (!kind || (!record && strcmp(kind, "certificate") != 0)) {
        return "its \"kind\" is neither \"certificate\" nor \"record\"";
    }
    for (size_t i = 0; i < COUNT(demands); i++) {
        const struct demand *d = &demands[i];
        const cJSON *parent = d->parent ? cJSON_GetObjectItemCaseSensitive(root, d->parent) : root;
        const cJSON *item = cJSON_GetObjectItemCaseSensitive(parent, d->name);
        if ((d->of_records || !record) && !is_kind(item, d->kind)) {
            (void)snprintf(room, size, "its member \"%s%s%s\" is missing or of the wrong kind",
                           d->parent ? d->parent : "", d->parent ? "." : "", d->name);
            return room;
        }
    }
    size_t index = 0;
    const cJSON *line = NULL;
    cJSON_ArrayForEach(line, cJSON_GetObjectItemCaseSensitive(root, "lines"))
    {
        const char *fault = line_fault(line, !record, index++, room, size);
        if (fault) {
            return fault;
        }
    }
    return NULL;
}

bool es_is_utc_time(const char *text)
{
    static const char shape[] = "dddd-dd-ddTdd:dd:dd";
    size_t i = 0;
    for (; shape[i]; i++) {
        bool digit = text[i] >= '0' && text[i] <= '9';
        if (shape[i] == 'd' ? !digit : text[i] != shape[i]) {
            return false;
        }
    }
    if (text[i] == '.') {
        size_t digits = strspn(text + i + 1, "0123456789");
        if (digits == 0 || digits > 9) {
            return false;
        }
        i += 1 + digits;
    }
    return text[i] == 'Z' && text[i + 1] == 0;
}

enum es_status es_signing_input(const char *header, size_t header_length, const char *payload,
                                size_t payload_length, char **out, size_t *length, struct es_error *err)
{
    struct es_text text = {0};
    es_text_base64url(&text, header, header_length);
    es_text_char(&text, '.');
    es_text_base64url(&text, payload, payload_length);
    size_t size = text.length;
    enum es_status st = es_text_take(&text, out, err);
    if (st == ES_OK) {
        *length = size;
    }
    es_text_free(&text);
    return st;
}
