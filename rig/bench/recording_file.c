#include "rig/bench/recording_file.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "rig/base/digest.h"

#define RECORDING_MAX (512u << 20)

/* JSON has no infinity; degrees of freedom that are not stated are null. */
static void add_number(struct es_text *out, double value)
{
    if (isfinite(value)) {
        es_text_printf(out, "%.17g", value);
    } else {
        es_text_add(out, "null");
    }
}

static void add_series_head(struct es_text *out, const struct es_series *s)
{
    const struct es_channel_uncertainty *u = &s->u;
    const double numbers[] = {u->offset, u->gain,    u->dof, u->resolution,
                              u->time,   u->refresh, u->lag, u->repeatability};
    static const char *const names[] = {"offset", "gain",    "dof", "resolution",
                                        "time",   "refresh", "lag", "repeatability"};
    es_text_add(out, "{\"role\":");
    es_text_json(out, es_role_info(s->role)->name);
    es_text_add(out, ",\"dimension\":");
    es_text_json(out, es_dimension_name(s->dimension));
    es_text_printf(out, ",\"samples\":%zu,\"uncertainty\":{", s->count);
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        es_text_printf(out, "%s\"%s\":", i ? "," : "", names[i]);
        add_number(out, numbers[i]);
    }
    es_text_add(out, "}");
    if (s->low < s->high) {
        es_text_printf(out, ",\"range\":[%.17g,%.17g]", s->low, s->high);
    }
    es_text_add(out, "}");
}

void es_recording_text(const struct es_trace *trace, const char *procedure, struct es_text *out)
{
    es_text_add(out, "{\"endstop\":\"recording/1\",\"name\":");
    es_text_json(out, trace->name);
    es_text_add(out, ",\"procedure\":");
    es_text_json(out, procedure);
    es_text_add(out, ",\"duration\":");
    add_number(out, trace->duration);
    if (trace->unfit) {
        es_text_add(out, ",\"unfit\":");
        es_text_json(out, trace->unfit);
    }
    es_text_add(out, ",\"series\":[");
    for (size_t i = 0; i < trace->series_count; i++) {
        es_text_add(out, i ? "," : "");
        add_series_head(out, &trace->series[i]);
    }
    es_text_add(out, "],\"writes\":[");
    for (size_t i = 0; i < trace->command_count; i++) {
        const struct es_command *c = &trace->commands[i];
        es_text_add(out, i ? ",{\"role\":" : "{\"role\":");
        es_text_json(out, es_role_info(c->role)->name);
        es_text_printf(out, ",\"t\":%.17g,\"u_t\":%.17g,\"from\":%.17g,\"to\":%.17g}", c->t, c->u_t, c->from,
                       c->to);
    }
    es_text_add(out, "]}\nseries,t/s,value in the coherent unit,quality\n");
    static const char *const words[] = {"good", "stale", "out of range", "failed"};
    for (size_t i = 0; i < trace->series_count; i++) {
        const struct es_series *s = &trace->series[i];
        for (size_t k = 0; k < s->count; k++) {
            es_text_printf(out, "%zu,%.17g,%.17g,%s\n", i, s->t[k], s->y[k], words[s->quality[k]]);
        }
    }
}

void es_recording_file_name(const char *digest, char out[static 96])
{
    snprintf(out, 96, "%.64s.recording.gz", digest);
}

/* gzip with a head that says nothing of time or machine: same text, same file. */
static enum es_status compress_text(const struct es_text *text, unsigned char **out, size_t *length,
                                    struct es_error *err)
{
    z_stream z = {0};
    if (deflateInit2(&z, 6, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY) != Z_OK) {
        return es_fail(err, ES_NO_MEMORY, "no memory to compress a recording");
    }
    enum es_status status = ES_OK;
    uLong room = deflateBound(&z, text->length);
    unsigned char *bytes = malloc(room);
    if (!bytes) {
        status = es_fail(err, ES_NO_MEMORY, "no memory to compress a recording");
        goto end_deflate;
    }
    z.next_in = (Bytef *)text->bytes;
    z.avail_in = (uInt)text->length;
    z.next_out = bytes;
    z.avail_out = (uInt)room;
    if (deflate(&z, Z_FINISH) != Z_STREAM_END) {
        free(bytes);
        status = es_fail(err, ES_INTERNAL, "a recording could not be compressed");
        goto end_deflate;
    }
    *out = bytes;
    *length = z.total_out;

end_deflate:
    deflateEnd(&z);
    return status;
}

enum es_status es_recording_write(const struct es_file_ops *ops, const char *folder,
                                  const struct es_trace *trace, const char *procedure, char digest[static 65],
                                  size_t *bytes, struct es_error *err)
{
    struct es_text text = {0};
    unsigned char *packed = NULL;
    char *path = NULL, name[96], hex[65];
    size_t packed_length = 0;
    es_recording_text(trace, procedure, &text);
    enum es_status status = es_text_status(&text, err);
    if (status != ES_OK) {
        goto free_text;
    }
    if (text.length > RECORDING_MAX) {
        status = es_fail(err, ES_RANGE, "the recording \"%s\" is too long to be kept", trace->name);
        goto free_text;
    }
    es_digest_hex(text.bytes, text.length, hex);
    es_recording_file_name(hex, name);
    status = compress_text(&text, &packed, &packed_length, err);
    if (status != ES_OK) {
        goto free_text;
    }
    if (asprintf(&path, "%s/%s", folder, name) < 0) {
        path = NULL;
        status = es_fail(err, ES_NO_MEMORY, "no memory to keep a recording");
        goto free_packed;
    }
    status = es_folder_make(ops, folder, 0750, err);
    if (status == ES_OK) {
        status = es_file_write(ops, path, ES_FILE_REPLACE, 0640, packed, packed_length, err);
    }
    if (status == ES_OK) {
        memcpy(digest, hex, sizeof hex);
        *bytes = text.length;
    }
    free(path);
free_packed:
    free(packed);
free_text:
    es_text_free(&text);
    return status;
}
