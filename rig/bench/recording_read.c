/* Reads a recording file back into a trace. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "rig/base/digest.h"
#include "rig/base/document.h"
#include "rig/bench/recording_file.h"

#define PACKED_MAX    (512u << 20)
#define RECORDING_MAX (512u << 20)

static enum es_status unpack(const char *packed, size_t length, struct es_text *out, struct es_error *err)
{
    z_stream z = {.next_in = (Bytef *)(uintptr_t)packed, .avail_in = (uInt)length};
    if (inflateInit2(&z, 15 + 16) != Z_OK) {
        return es_fail(err, ES_NO_MEMORY, "no memory to read a recording");
    }
    unsigned char chunk[65536];
    int state = Z_OK;
    while (state == Z_OK && out->length <= RECORDING_MAX) {
        z.next_out = chunk;
        z.avail_out = sizeof chunk;
        state = inflate(&z, Z_NO_FLUSH);
        es_text_append(out, chunk, sizeof chunk - z.avail_out);
    }
    inflateEnd(&z);
    if (state != Z_STREAM_END) {
        return es_fail(err, ES_NOT_VALID, "the file is not a whole compressed recording");
    }
    return es_text_status(out, err);
}

static double number_or(const cJSON *object, const char *name, double otherwise)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return cJSON_IsNumber(item) ? item->valuedouble : otherwise;
}

static bool read_range(const cJSON *range, struct es_series *s)
{
    const cJSON *low = cJSON_GetArrayItem(range, 0), *high = cJSON_GetArrayItem(range, 1);
    if (!cJSON_IsNumber(low) || !cJSON_IsNumber(high) || !(low->valuedouble < high->valuedouble)) {
        return false;
    }
    s->low = low->valuedouble;
    s->high = high->valuedouble;
    return true;
}

static bool read_series_head(const cJSON *item, struct es_series *s)
{
    const char *role = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(item, "role"));
    const char *dimension = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(item, "dimension"));
    const cJSON *u = cJSON_GetObjectItemCaseSensitive(item, "uncertainty");
    double samples = number_or(item, "samples", -1);
    if (!role || !dimension || samples < 0 || samples > (double)RECORDING_MAX / 8) {
        return false;
    }
    s->role = es_role_find(role);
    s->dimension = ES_DIM_COUNT;
    for (int d = 0; d < ES_DIM_COUNT; d++) {
        if (!strcmp(es_dimension_name((enum es_dimension)d), dimension)) {
            s->dimension = (enum es_dimension)d;
        }
    }
    s->u = (struct es_channel_uncertainty){.offset = number_or(u, "offset", 0),
                                           .gain = number_or(u, "gain", 0),
                                           .dof = number_or(u, "dof", INFINITY),
                                           .resolution = number_or(u, "resolution", 0),
                                           .time = number_or(u, "time", 0),
                                           .refresh = number_or(u, "refresh", 0),
                                           .lag = number_or(u, "lag", 0),
                                           .repeatability = number_or(u, "repeatability", 0)};
    const cJSON *range = cJSON_GetObjectItemCaseSensitive(item, "range");
    if (range && !read_range(range, s)) {
        return false;
    }
    size_t room = (size_t)samples + 1;
    s->t = calloc(room, sizeof *s->t);
    s->y = calloc(room, sizeof *s->y);
    s->quality = calloc(room, 1);
    s->count = (size_t)samples;
    return s->role != ES_ROLE_NONE && s->dimension != ES_DIM_COUNT && s->t && s->y && s->quality;
}

static bool read_writes(const cJSON *array, struct es_trace *t)
{
    t->commands = calloc((size_t)cJSON_GetArraySize(array) + 1, sizeof *t->commands);
    const cJSON *item;
    if (!t->commands) {
        return false;
    }
    cJSON_ArrayForEach(item, array)
    {
        const char *role = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(item, "role"));
        struct es_command *c = &t->commands[t->command_count++];
        *c = (struct es_command){role ? es_role_find(role) : ES_ROLE_NONE, number_or(item, "t", NAN),
                                 number_or(item, "u_t", 0), number_or(item, "from", NAN),
                                 number_or(item, "to", NAN)};
        if (c->role == ES_ROLE_NONE || isnan(c->t) || isnan(c->to)) {
            return false;
        }
    }
    return true;
}

static bool read_head(const cJSON *root, struct es_trace *t)
{
    const char *format = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "endstop"));
    const char *name = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "name"));
    const cJSON *series = cJSON_GetObjectItemCaseSensitive(root, "series");
    if (!format || strcmp(format, "recording/1") != 0 || !name || !cJSON_IsArray(series)) {
        return false;
    }
    const char *unfit = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "unfit"));
    t->name = strdup(name);
    t->unfit = unfit ? strdup(unfit) : NULL;
    t->duration = number_or(root, "duration", 0);
    t->series = calloc((size_t)cJSON_GetArraySize(series) + 1, sizeof *t->series);
    if (!t->name || !t->series || (unfit && !t->unfit)) {
        return false;
    }
    const cJSON *item;
    cJSON_ArrayForEach(item, series)
    {
        if (!read_series_head(item, &t->series[t->series_count++])) {
            return false;
        }
    }
    return read_writes(cJSON_GetObjectItemCaseSensitive(root, "writes"), t);
}

static bool read_rows(const char *p, struct es_trace *t)
{
    static const char *const words[] = {"good", "stale", "out of range", "failed"};
    for (size_t i = 0; i < t->series_count; i++) {
        struct es_series *s = &t->series[i];
        for (size_t k = 0; k < s->count; k++) {
            char *end;
            if (strtoull(p, &end, 10) != i || *end != ',') {
                return false;
            }
            s->t[k] = strtod(end + 1, &end);
            if (*end != ',') {
                return false;
            }
            s->y[k] = strtod(end + 1, &end);
            const char *stop = strchr(end, '\n');
            if (*end != ',' || !stop) {
                return false;
            }
            size_t length = (size_t)(stop - end - 1), q = 0;
            while (q < 4 && (strlen(words[q]) != length || strncmp(end + 1, words[q], length) != 0)) {
                q++;
            }
            if (q == 4) {
                return false;
            }
            s->quality[k] = (uint8_t)q;
            p = stop + 1;
        }
    }
    return *p == 0;
}

static enum es_status parse(const char *path, const struct es_text *text, struct es_trace **out,
                            struct es_error *err)
{
    const char *line = strchr(text->bytes, '\n');
    const char *rows = line ? strchr(line + 1, '\n') : NULL;
    struct es_trace *t = calloc(1, sizeof *t);
    if (!t) {
        return es_fail(err, ES_NO_MEMORY, "no memory to read a recording");
    }
    cJSON *root = line ? cJSON_ParseWithLength(text->bytes, (size_t)(line - text->bytes)) : NULL;
    bool good = root && rows && read_head(root, t) && read_rows(rows + 1, t);
    cJSON_Delete(root);
    if (!good) {
        es_trace_free(t);
        return es_fail(err, ES_BAD_INPUT, "%s is not a recording that this version reads", path);
    }
    *out = t;
    return ES_OK;
}

enum es_status es_recording_read(const struct es_file_ops *ops, const char *path, const char *digest,
                                 struct es_trace **out, struct es_error *err)
{
    char *packed;
    size_t length;
    enum es_status status = es_file_read(ops, path, PACKED_MAX, &packed, &length, err);
    if (status != ES_OK) {
        return status;
    }
    struct es_text text = {0};
    status = unpack(packed, length, &text, err);
    free(packed);
    if (status == ES_OK) {
        char hex[65];
        es_digest_hex(text.bytes, text.length, hex);
        status = digest && strcmp(hex, digest) != 0
                     ? es_fail(err, ES_NOT_VALID, "%s is not the recording with the digest %s", path, digest)
                     : parse(path, &text, out, err);
    } else {
        status = es_error_context(err, status, "%s", path);
    }
    es_text_free(&text);
    return status;
}
