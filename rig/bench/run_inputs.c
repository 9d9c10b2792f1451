/* Keeping a run's inputs. */
#include "rig/bench/run_inputs.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/digest.h"
#include "rig/base/text.h"

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

/* FOLDER/DIGEST.json; one that is there already was written whole and durably. */
static enum es_status keep(const struct es_run *r, const char *bytes, size_t length, const char *digest,
                           struct es_error *err)
{
    char *path;
    if (asprintf(&path, "%s/%s.json", r->places->recordings, digest) < 0) {
        return es_fail(err, ES_NO_MEMORY, "no memory to keep a run's inputs");
    }
    enum es_status status = ES_OK;
    if (access(path, F_OK) != 0) {
        status = es_file_write(NULL, path, ES_FILE_REPLACE, 0640, bytes, length, err);
    }
    free(path);
    return status;
}

static enum es_status keep_file(const struct es_run *r, const char *path, const char *digest,
                                struct es_error *err)
{
    char *bytes = NULL, found[65];
    size_t length = 0;
    enum es_status status = es_file_read(NULL, path, ES_DOCUMENT_MAX, &bytes, &length, err);
    if (status != ES_OK) {
        return status;
    }
    es_digest_hex(bytes, length, found);
    status = strcmp(found, digest) == 0
                 ? keep(r, bytes, length, digest, err)
                 : es_fail(err, ES_REFUSED, "%s was changed while the run began; begin again", path);
    free(bytes);
    return status;
}

static void member(struct es_text *t, const char *name, const char *value)
{
    es_text_json(t, name);
    es_text_char(t, ':');
    es_text_json(t, value);
}

static void number(struct es_text *t, const char *name, double value)
{
    es_text_printf(t, isfinite(value) ? ",\"%s\":%.17g" : ",\"%s\":null", name, value);
}

static void write_inputs(const struct es_run *r, struct es_text *t)
{
    es_text_add(t, "{\"endstop\":\"run-inputs/1\",");
    member(t, "run", r->run);
    es_text_add(t, ",");
    member(t, "plan", r->plan->digest);
    es_text_add(t, ",");
    member(t, "type_sheet", r->type->digest);
    es_text_add(t, ",\n\"procedures\":[");
    for (size_t i = 0; i < r->plan->entry_count; i++) {
        const struct es_procedure *p = r->plan->entries[i].procedure;
        es_text_add(t, i ? ",{" : "{");
        member(t, "file", base_name(p->file));
        es_text_add(t, ",");
        member(t, "sha256", p->digest);
        es_text_add(t, "}");
    }
    es_text_add(t, "],\n\"fitted\":[");
    bool first = true;
    for (enum es_role role = 0; role < ES_ROLE_COUNT; role++) {
        enum es_dimension d = ES_DIM_NUMBER;
        if (r->site->port.has_role(r->site->port.self, role, &d)) {
            es_text_add(t, first ? "{" : ",{");
            member(t, "role", es_role_info(role)->name);
            es_text_add(t, ",");
            member(t, "dimension", es_dimension_name(d));
            es_text_add(t, "}");
            first = false;
        }
    }
    es_text_add(t, "],\n\"facts\":[");
    for (size_t i = 0; i < r->view.facts.count; i++) {
        const struct es_fact *f = &r->view.facts.items[i];
        es_text_add(t, i ? ",\n{" : "{");
        member(t, "name", f->name);
        es_text_add(t, ",");
        member(t, "dimension", es_dimension_name(f->dimension));
        number(t, "value", f->value);
        number(t, "u", f->u);
        number(t, "dof", f->dof);
        es_text_add(t, "}");
    }
    es_text_add(t, "]}\n");
}

enum es_status es_run_keep_inputs(struct es_run *r, struct es_error *err)
{
    struct es_text text = {0};
    char digest[65];
    if (!r->places || !r->places->recordings) {
        return ES_OK;
    }
    enum es_status status = es_folder_make(NULL, r->places->recordings, 0750, err);
    if (status == ES_OK) {
        status = keep_file(r, r->order->type_path, r->type->digest, err);
    }
    if (status == ES_OK) {
        status = keep_file(r, r->plan->file, r->plan->digest, err);
    }
    for (size_t i = 0; i < r->plan->entry_count && status == ES_OK; i++) {
        const struct es_procedure *p = r->plan->entries[i].procedure;
        status = keep_file(r, p->file, p->digest, err);
    }
    if (status == ES_OK) {
        write_inputs(r, &text);
        status = es_text_status(&text, err);
    }
    if (status == ES_OK) {
        es_digest_hex(text.bytes, text.length, digest);
        status = keep(r, text.bytes, text.length, digest, err);
    }
    if (status == ES_OK && !es_run_copy(&r->outcome->inputs, digest)) {
        status = es_fail(err, ES_NO_MEMORY, "no memory to keep a run's inputs");
    }
    es_text_free(&text);
    return status == ES_OK ? ES_OK : es_error_context(err, status, "the run's inputs could not be kept");
}
