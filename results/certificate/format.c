#include "results/certificate/format.h"

#include <endian.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

enum kind { TEXT, TRUTH, OBJECT, ARRAY };

static bool is_kind(struct es_span item, enum kind kind)
{
    static const char *const first[] = {[TEXT] = "\"", [TRUTH] = "tf", [OBJECT] = "{", [ARRAY] = "["};
    return item.at && strchr(first[kind], *item.at) != NULL;
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

/* The member of an object; {NULL, 0} when it is none or has none. */
static struct es_span member_of(struct es_span object, const char *wanted)
{
    const char *cursor = NULL;
    struct es_span name;
    struct es_span value;
    while (object.at && *object.at == '{' && es_span_next(object, &cursor, &name, &value)) {
        if (es_span_is(name, wanted)) {
            return value;
        }
    }
    return (struct es_span){0};
}

static const struct {
    const char *name;
    enum kind kind;
    bool only_judged;
} line_members[] = {{"procedure", TEXT, false}, {"measurand", TEXT, false}, {"unit", TEXT, false},
                    {"limit", OBJECT, false},   {"rule", TEXT, false},      {"verdict", TEXT, true}};

struct line_check {
    unsigned seen;
    bool judged;
    char *room;
    size_t size;
};

static void look_at_member(void *self, struct es_span name, struct es_span value)
{
    struct line_check *c = self;
    for (size_t i = 0; i < COUNT(line_members); i++) {
        if (es_span_is(name, line_members[i].name) && is_kind(value, line_members[i].kind)) {
            c->seen |= 1u << i;
        }
    }
}

static bool end_line(void *self, size_t index)
{
    struct line_check *c = self;
    for (size_t i = 0; i < COUNT(line_members); i++) {
        if ((c->judged || !line_members[i].only_judged) && !(c->seen & 1u << i)) {
            (void)snprintf(c->room, c->size, "its line %zu lacks \"%s\" or has it in the wrong kind",
                           index + 1, line_members[i].name);
            return false;
        }
    }
    c->seen = 0;
    return true;
}

const char *es_certificate_fault(const struct es_members *root, char *room, size_t size)
{
    struct es_span kind = es_members_find(root, "kind");
    bool record = es_span_is(kind, "record");
    if (!record && !es_span_is(kind, "certificate")) {
        return "its \"kind\" is neither \"certificate\" nor \"record\"";
    }
    for (size_t i = 0; i < COUNT(demands); i++) {
        const struct demand *d = &demands[i];
        struct es_span item =
            d->parent ? member_of(es_members_find(root, d->parent), d->name) : es_members_find(root, d->name);
        if ((d->of_records || !record) && !is_kind(item, d->kind)) {
            (void)snprintf(room, size, "its member \"%s%s%s\" is missing or of the wrong kind",
                           d->parent ? d->parent : "", d->parent ? "." : "", d->name);
            return room;
        }
    }
    struct line_check check = {.judged = !record, .room = room, .size = size};
    const struct es_span_visitor visitor = {.self = &check, .member = look_at_member, .end = end_line};
    return es_span_objects(es_members_find(root, "lines"), &visitor) ? NULL : room;
}

const char *es_certificate_strange(const struct es_members *root)
{
    struct es_span format = es_members_find(root, "endstop");
    if (format.at && format.length > 13 && memcmp(format.at, "\"certificate/", 13) == 0) {
        return "it is in another version of the format, which this program does not know: ";
    }
    if (format.at) {
        return "it is another kind of this program's documents: ";
    }
    if (es_members_find(root, "payload").at && es_members_find(root, "signatures").at) {
        return "it is a JWS with its payload inside (RFC 7515); expected the certificate's own object, with "
               "\"endstop\": \"" ES_CERTIFICATE_FORMAT "\" and detached signatures.";
    }
    return "expected an object with \"endstop\": \"" ES_CERTIFICATE_FORMAT "\", and it has no such member.";
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

#define EACH(byte) (0x0101010101010101u * (byte))

/* Eight sextets, one a byte, into their letters (RFC 4648 5), all at once: each mask has a 1 in the bytes
 * beyond a border of the alphabet. No byte's sum leaves 0..127, so that none disturbs another. */
static uint64_t letters_of(uint64_t v)
{
    uint64_t small = ((v + EACH(127 - 25)) & EACH(0x80)) >> 7; /* from 'a' on */
    uint64_t digit = ((v + EACH(127 - 51)) & EACH(0x80)) >> 7; /* from '0' on */
    uint64_t minus = ((v + EACH(127 - 61)) & EACH(0x80)) >> 7; /* from '-' on */
    uint64_t score = ((v + EACH(127 - 62)) & EACH(0x80)) >> 7; /* '_' */
    return v + EACH('A') + small * ('a' - 'Z' - 1) - digit * ('z' + 1 - '0') - minus * ('9' + 1 - '-') +
           score * ('_' - '-' - 1);
}

/* The first six of eight bytes. */
static void write_eight(const unsigned char *bytes, char *to)
{
    uint64_t v;
    memcpy(&v, bytes, sizeof v);
    v = be64toh(v) >> 16;
    v = (v & 0xFFFFFF000000u) << 8 | (v & 0xFFFFFFu);
    v = (v & 0x00FFF00000FFF000u) << 4 | (v & 0x00000FFF00000FFFu);
    v = (v & 0x0FC00FC00FC00FC0u) << 2 | (v & 0x003F003F003F003Fu);
    v = htobe64(letters_of(v));
    memcpy(to, &v, sizeof v);
}

static char *write_base64url(const unsigned char *bytes, size_t length, char *to)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    size_t i = 0;
    for (; i + 8 <= length; i += 6, to += 8) {
        write_eight(bytes + i, to);
    }
    for (; i + 3 <= length; i += 3, to += 4) {
        unsigned v = (unsigned)bytes[i] << 16 | (unsigned)bytes[i + 1] << 8 | bytes[i + 2];
        to[0] = digits[v >> 18];
        to[1] = digits[v >> 12 & 63];
        to[2] = digits[v >> 6 & 63];
        to[3] = digits[v & 63];
    }
    if (i < length) {
        unsigned v = (unsigned)bytes[i] << 16 | (i + 1 < length ? (unsigned)bytes[i + 1] << 8 : 0);
        *to++ = digits[v >> 18];
        *to++ = digits[v >> 12 & 63];
        if (i + 1 < length) {
            *to++ = digits[v >> 6 & 63];
        }
    }
    return to;
}

enum es_status es_signing_input(const char *header, size_t header_length, const char *payload,
                                size_t payload_length, char **out, size_t *length, struct es_error *err)
{
    char *text = malloc((header_length + payload_length) / 3 * 4 + 16);
    if (!text) {
        return es_fail(err, ES_NO_MEMORY, "no memory for a signature");
    }
    char *to = write_base64url((const unsigned char *)header, header_length, text);
    *to++ = '.';
    to = write_base64url((const unsigned char *)payload, payload_length, to);
    *length = (size_t)(to - text);
    *out = text;
    return ES_OK;
}
