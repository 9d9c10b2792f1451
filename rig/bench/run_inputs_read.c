/* Reading a run's inputs back: the documents are laid out again as they lay, in a folder of their own, and
 * read by the same readers. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rig/base/digest.h"
#include "rig/base/text.h"
#include "rig/bench/run_inputs.h"

#define LAID_MOST 128

struct layout {
    char folder[64];
    char *files[LAID_MOST];
    size_t count;
};

static const char *text_of(const cJSON *object, const char *name)
{
    const char *text = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(object, name));
    return text ? text : "";
}

static bool is_digest(const char *text)
{
    return strlen(text) == 64 && strspn(text, "0123456789abcdef") == 64;
}

static enum es_status read_by_digest(const char *folder, const char *digest, char **bytes, size_t *length,
                                     struct es_error *err)
{
    char *path, found[65];
    if (!is_digest(digest)) {
        return es_fail(err, ES_BAD_INPUT, "\"%.70s\" is not a SHA-256 digest in small hex digits", digest);
    }
    if (asprintf(&path, "%s/%s.json", folder, digest) < 0) {
        return es_fail(err, ES_NO_MEMORY, "no memory to read a run's inputs");
    }
    enum es_status status = es_file_read(NULL, path, ES_DOCUMENT_MAX, bytes, length, err);
    if (status == ES_OK) {
        es_digest_hex(*bytes, *length, found);
        if (strcmp(found, digest) != 0) {
            status =
                es_fail(err, ES_NOT_VALID, "%s: its content is not what its name says: it was changed", path);
            free(*bytes);
        }
    }
    free(path);
    return status;
}

/* ---- The folder ---- */

static void unlay(struct layout *l)
{
    for (size_t i = 0; i < l->count; i++) {
        (void)unlink(l->files[i]);
        free(l->files[i]);
    }
    (void)rmdir(l->folder);
}

/* Writes a file into the folder; *path stays the layout's. */
static enum es_status lay(struct layout *l, const char *name, const char *bytes, size_t length,
                          const char **path, struct es_error *err)
{
    if (l->count == LAID_MOST || !*name || strchr(name, '/') || *name == '.') {
        return es_fail(err, ES_BAD_INPUT, "\"%.80s\" is no name of a document, or there are too many", name);
    }
    if (asprintf(&l->files[l->count], "%s/%s", l->folder, name) < 0) {
        return es_fail(err, ES_NO_MEMORY, "no memory to read a run's inputs");
    }
    *path = l->files[l->count++];
    return es_file_write(NULL, *path, ES_FILE_REPLACE, 0600, bytes, length, err);
}

/* The reader of procedures wants their pictures there; nothing is measured from one. */
static enum es_status lay_pictures(struct layout *l, const cJSON *item, struct es_error *err)
{
    enum es_status status = ES_OK;
    for (const cJSON *m = item->child; m && status == ES_OK; m = m->next) {
        const char *unused;
        if (m->string && strcmp(m->string, "picture") == 0 && cJSON_IsString(m)) {
            status = lay(l, m->valuestring, "", 0, &unused, err);
        } else if (m->child) {
            status = lay_pictures(l, m, err);
        }
    }
    return status;
}

static enum es_status lay_document(struct layout *l, const char *folder, const char *digest, const char *name,
                                   const char **path, struct es_error *err)
{
    char *bytes = NULL;
    size_t length = 0;
    enum es_status status = read_by_digest(folder, digest, &bytes, &length, err);
    if (status != ES_OK) {
        return status;
    }
    status = lay(l, name, bytes, length, path, err);
    cJSON *tree = status == ES_OK ? cJSON_ParseWithLength(bytes, length) : NULL;
    if (tree) {
        status = lay_pictures(l, tree, err);
    }
    cJSON_Delete(tree);
    free(bytes);
    return status;
}

static enum es_status load(struct layout *l, const char *folder, struct es_run_inputs *in,
                           struct es_error *err)
{
    const cJSON *root = es_document_root(in->doc), *p;
    struct es_findings findings = {0};
    const char *path = NULL, *type_path = NULL;
    enum es_status status = ES_OK;
    cJSON_ArrayForEach(p, cJSON_GetObjectItemCaseSensitive(root, "procedures"))
    {
        if (status == ES_OK) {
            status = lay_document(l, folder, text_of(p, "sha256"), text_of(p, "file"), &path, err);
        }
    }
    if (status == ES_OK) {
        status = lay_document(l, folder, text_of(root, "type_sheet"), "type sheet", &type_path, err);
    }
    if (status == ES_OK) {
        status = lay_document(l, folder, text_of(root, "plan"), "the plan", &path, err);
    }
    if (status == ES_OK) {
        status = es_type_load(type_path, &findings, &in->type, err);
    }
    if (status == ES_OK) {
        status = es_plan_load_any(path, &findings, &in->plan, err);
    }
    if (status == ES_BAD_INPUT && findings.count > 0) {
        status = es_findings_status(&findings, err);
    }
    es_findings_free(&findings);
    return status;
}

/* ---- What was known ---- */

static bool find_dimension(const char *name, enum es_dimension *out)
{
    for (int d = 0; d < ES_DIM_COUNT; d++) {
        if (strcmp(es_dimension_name((enum es_dimension)d), name) == 0) {
            *out = (enum es_dimension)d;
            return true;
        }
    }
    return false;
}

static double number_or(const cJSON *object, const char *name, double otherwise)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return cJSON_IsNumber(item) ? item->valuedouble : otherwise;
}

static enum es_status read_known(struct es_run_inputs *in, struct es_error *err)
{
    const cJSON *root = es_document_root(in->doc), *item;
    const cJSON *facts = cJSON_GetObjectItemCaseSensitive(root, "facts");
    size_t count = 0;
    bool good = strcmp(text_of(root, "endstop"), "run-inputs/1") == 0 && cJSON_IsArray(facts);
    in->facts = calloc((size_t)cJSON_GetArraySize(facts) + 1, sizeof *in->facts);
    if (!in->facts) {
        return es_fail(err, ES_NO_MEMORY, "no memory to read a run's inputs");
    }
    cJSON_ArrayForEach(item, facts)
    {
        struct es_fact *f = &in->facts[count++];
        *f = (struct es_fact){.name = text_of(item, "name"),
                              .value = number_or(item, "value", NAN),
                              .u = number_or(item, "u", NAN),
                              .dof = number_or(item, "dof", INFINITY)};
        good = good && find_dimension(text_of(item, "dimension"), &f->dimension);
    }
    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(root, "fitted"))
    {
        enum es_role role = es_role_find(text_of(item, "role"));
        good = good && role != ES_ROLE_NONE;
        if (good) {
            in->what.roles[role].fitted = true;
            good = find_dimension(text_of(item, "dimension"), &in->what.roles[role].dimension);
        }
    }
    in->what.facts = (struct es_facts){in->facts, count};
    return good ? ES_OK
                : es_fail(
                      err, ES_BAD_INPUT,
                      "these are not a run's inputs (\"endstop\": \"run-inputs/1\"), or of a newer program");
}

enum es_status es_run_inputs_read(const char *folder, const char *digest, struct es_run_inputs *out,
                                  struct es_error *err)
{
    struct es_run_inputs in = {0};
    struct layout l = {.folder = "/tmp/endstop-inputs-XXXXXX"};
    struct es_findings findings = {0};
    char *bytes = NULL;
    size_t length = 0;
    enum es_status status = read_by_digest(folder, digest, &bytes, &length, err);
    if (status != ES_OK) {
        return status;
    }
    if (!mkdtemp(l.folder)) {
        free(bytes);
        return es_fail(err, ES_IO, "no folder for the run's inputs can be made in /tmp");
    }
    status = es_document_parse("the run's inputs", bytes, length, &findings, &in.doc, err);
    status = status == ES_BAD_INPUT ? es_findings_status(&findings, err) : status;
    if (status == ES_OK) {
        status = read_known(&in, err);
    }
    if (status == ES_OK) {
        status = load(&l, folder, &in, err);
    }
    unlay(&l);
    es_findings_free(&findings);
    free(bytes);
    if (status != ES_OK) {
        es_run_inputs_free(&in);
        return status;
    }
    *out = in;
    return ES_OK;
}

void es_run_inputs_free(struct es_run_inputs *in)
{
    es_plan_free(in->plan);
    es_type_free(in->type);
    free(in->facts);
    es_document_free(in->doc);
    *in = (struct es_run_inputs){0};
}
