/* Reading a journal back, whole blocks only. */
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "rig/bench/journal.h"
#include "rig/bench/journal_format.h"

#define JOURNAL_MAX (2048u << 20)

typedef enum es_status (*visit_function)(void *self, const struct es_journal_record *r, struct es_error *err);

static uint64_t get_int(const unsigned char *p, size_t length)
{
    uint64_t value = 0;
    for (size_t i = length; i-- > 0;) {
        value = value << 8 | p[i];
    }
    return value;
}

static double get_double(const unsigned char *p)
{
    uint64_t bits = get_int(p, 8);
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

struct reader {
    visit_function visit;
    void *self;
    struct es_journal_value values[ES_ROLE_COUNT];
    enum es_role roles[ES_ROLE_COUNT];
    char *text; /* scratch, terminated */
};

static bool read_role(uint64_t byte, enum es_role *out)
{
    *out = (enum es_role)byte;
    return byte < ES_ROLE_COUNT;
}

static bool read_scan(struct reader *rd, struct es_journal_record *r, const unsigned char *p, size_t length)
{
    if (length < 8 || (length - 8) % 10 != 0 || (length - 8) / 10 > ES_ROLE_COUNT) {
        return false;
    }
    r->u_time = get_double(p);
    r->count = (length - 8) / 10;
    for (size_t i = 0; i < r->count; i++) {
        const unsigned char *v = p + 8 + 10 * i;
        if (!read_role(v[0], &rd->values[i].role) || v[1] > ES_FAILED) {
            return false;
        }
        rd->values[i].quality = (enum es_quality)v[1];
        rd->values[i].value = get_double(v + 2);
    }
    r->values = rd->values;
    return true;
}

static bool read_write(struct es_journal_record *r, const unsigned char *p, size_t length)
{
    if (length != 18 || !read_role(p[0], &r->write.role) || p[1] >= ES_STATUS_COUNT) {
        return false;
    }
    r->write.status = (enum es_status)p[1];
    r->write.from = get_double(p + 2);
    r->write.to = get_double(p + 10);
    return true;
}

static bool read_recording(struct reader *rd, struct es_journal_record *r, const unsigned char *p,
                           size_t length)
{
    if (length < 1 || p[0] > ES_ROLE_COUNT || length < 1u + p[0]) {
        return false;
    }
    r->count = p[0];
    for (size_t i = 0; i < r->count; i++) {
        if (!read_role(p[1 + i], &rd->roles[i])) {
            return false;
        }
    }
    r->roles = rd->roles;
    size_t head = 1 + r->count;
    memcpy(rd->text, p + head, length - head);
    rd->text[length - head] = 0;
    r->text = rd->text;
    return true;
}

static bool read_record(struct reader *rd, struct es_journal_record *r, const unsigned char *p, size_t length)
{
    switch (r->kind) {
    case ES_JOURNAL_SCAN:
        return read_scan(rd, r, p, length);
    case ES_JOURNAL_WRITE:
        return read_write(r, p, length);
    case ES_JOURNAL_RECORDING:
        return read_recording(rd, r, p, length);
    case ES_JOURNAL_BEGIN:
    case ES_JOURNAL_EVENT:
    case ES_JOURNAL_STOP:
    case ES_JOURNAL_TRIP:
    case ES_JOURNAL_SAFE:
    case ES_JOURNAL_END:
        memcpy(rd->text, p, length);
        rd->text[length] = 0;
        r->text = rd->text;
        return true;
    }
    return false;
}

/* Visits one block's records. A block whose CRC holds but whose records do not is a foreign or newer file. */
static enum es_status read_block(struct reader *rd, const unsigned char *p, size_t length, bool *sound,
                                 struct es_error *err)
{
    *sound = true;
    while (length > 0) {
        if (length < ES_JOURNAL_HEAD || get_int(p + 1, 4) > length - ES_JOURNAL_HEAD) {
            *sound = false;
            return ES_OK;
        }
        size_t size = get_int(p + 1, 4);
        struct es_journal_record r = {.kind = (enum es_journal_kind)p[0], .at = (es_time)get_int(p + 5, 8)};
        if (!read_record(rd, &r, p + ES_JOURNAL_HEAD, size)) {
            *sound = false;
            return ES_OK;
        }
        enum es_status status = rd->visit(rd->self, &r, err);
        if (status != ES_OK) {
            return status;
        }
        p += ES_JOURNAL_HEAD + size;
        length -= ES_JOURNAL_HEAD + size;
    }
    return ES_OK;
}

enum es_status es_journal_read(const struct es_file_ops *ops, const char *path, visit_function visit,
                               void *self, bool *damaged, size_t *whole, struct es_error *err)
{
    char *bytes;
    size_t length;
    enum es_status status = es_file_read(ops, path, JOURNAL_MAX, &bytes, &length, err);
    if (status != ES_OK) {
        return status;
    }
    struct reader rd = {.visit = visit, .self = self};
    rd.text = malloc(length + 1);
    if (!rd.text) {
        status = es_fail(err, ES_NO_MEMORY, "no memory to read %s", path);
        goto free_bytes;
    }
    if (length < ES_JOURNAL_MAGIC_SIZE || memcmp(bytes, ES_JOURNAL_MAGIC, ES_JOURNAL_MAGIC_SIZE) != 0) {
        status = es_fail(err, ES_BAD_INPUT, "%s is not a journal of this program", path);
        goto free_text;
    }
    size_t at = ES_JOURNAL_MAGIC_SIZE;
    bool sound = true;
    while (status == ES_OK && sound && length - at >= ES_JOURNAL_BLOCK_HEAD) {
        const unsigned char *p = (const unsigned char *)bytes + at;
        size_t size = get_int(p, 4);
        if (size > length - at - ES_JOURNAL_BLOCK_HEAD ||
            crc32(crc32(0, NULL, 0), p + ES_JOURNAL_BLOCK_HEAD, (uInt)size) != get_int(p + 4, 4)) {
            break;
        }
        status = read_block(&rd, p + ES_JOURNAL_BLOCK_HEAD, size, &sound, err);
        at += sound ? ES_JOURNAL_BLOCK_HEAD + size : 0;
    }
    if (status == ES_OK) {
        *damaged = at != length;
        *whole = at;
    }

free_text:
    free(rd.text);
free_bytes:
    free(bytes);
    return status;
}
