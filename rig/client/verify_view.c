#include "rig/client/verify_view.h"

#include <stdlib.h>
#include <string.h>

#include "rig/client/certificate_view.h"
#include "rig/client/recompute.h"
#include "rig/console/json_writer.h"

void es_verify_json(const char *file, const struct es_certificate_report *r, struct es_text *out)
{
    es_json_object(out, NULL);
    es_json_text(out, "file", file);
    es_json_text(out, "finding", es_certificate_finding_word(r->finding));
    es_json_bool(out, "valid", r->finding == ES_CERTIFICATE_VALID);
    es_json_text(out, "text", r->text);
    es_json_text(out, "digest", r->digest);
    es_json_array(out, "signatures");
    for (size_t i = 0; i < r->signature_count; i++) {
        const struct es_certificate_signature *s = &r->signatures[i];
        es_json_object(out, NULL);
        es_json_text(out, "kid", s->kid);
        es_json_text(out, "role", s->role);
        es_json_text(out, "time", s->time);
        if (s->name[0] != '\0')
            es_json_text(out, "name", s->name);
        if (s->reason[0] != '\0')
            es_json_text(out, "reason", s->reason);
        es_json_bool(out, "trusted", s->trusted != NULL);
        if (s->doubt[0] != '\0')
            es_json_text(out, "doubt", s->doubt);
        es_json_end_object(out);
    }
    es_json_end_array(out);
}

static void print_visible(const char *text, FILE *to)
{
    struct es_text clean = {0};
    es_text_visible(&clean, text, strlen(text));
    fputs(clean.bytes != NULL ? clean.bytes : "", to);
    es_text_free(&clean);
}

static void print_signature(const struct es_certificate_signature *s)
{
    fputs("  signed as ", stdout);
    print_visible(s->role, stdout);
    if (s->name[0] != '\0') {
        fputs(" by ", stdout);
        print_visible(s->name, stdout);
    }
    fputs(" at ", stdout);
    print_visible(s->time, stdout);
    fputs(" with key ", stdout);
    print_visible(s->kid, stdout);
    if (s->trusted != NULL && s->trusted->name != NULL) {
        fputs(" (", stdout);
        print_visible(s->trusted->name, stdout);
        fputs(", trusted)\n", stdout);
    } else if (s->trusted != NULL) {
        fputs(" (trusted)\n", stdout);
    } else {
        fputs(s->doubt[0] != '\0' ? "; it does not count: " : " (not among the trusted keys)", stdout);
        print_visible(s->doubt, stdout);
        putchar('\n');
    }
}

void es_verify_print(const char *file, const struct es_certificate_report *r, const cJSON *root)
{
    bool valid = r->finding == ES_CERTIFICATE_VALID;
    print_visible(file, stdout);
    printf(": %s\n", valid ? "VALID" : "NOT VALID");
    fputs("  ", stdout);
    print_visible(r->text, stdout);
    putchar('\n');
    for (size_t i = 0; i < r->signature_count; i++)
        print_signature(&r->signatures[i]);
    if (valid && root != NULL) {
        fputs("  says: ", stdout);
        es_certificate_view_sentence(root, stdout);
    }
}

const struct es_column es_verify_columns[ES_VERIFY_COLUMNS] = {
    {.title = "File", .wraps = true, .least = 16},
    {.title = "", .wraps = true, .least = 9},
    {.title = "Says", .wraps = true, .least = 16},
};

void es_verify_row(struct es_table *table, const char *file, const struct es_certificate_report *r,
                   const cJSON *root)
{
    bool valid = r->finding == ES_CERTIFICATE_VALID;
    char *says = NULL;
    size_t size = 0;
    FILE *to = valid && root != NULL ? open_memstream(&says, &size) : NULL;
    if (to != NULL) {
        es_certificate_view_brief(root, to);
        (void)fclose(to);
    }
    const char *cells[] = {file, valid ? "VALID" : "NOT VALID",
                           says != NULL ? says : es_certificate_finding_word(r->finding)};
    es_table_row(table, valid ? ES_PLAIN : ES_STRONG, cells);
    free(says);
}

void es_verify_recomputed(const char *file, const struct es_recomputed *r, FILE *to, bool quiet)
{
    if (quiet && r->faults == 0)
        return;
    print_visible(file, to);
    fprintf(
        to,
        ": %s\n  %zu values derived again: %zu identical, %zu within %g U, %zu fault%s; largest departure "
        "%.2g U\n",
        r->faults == 0 ? "VALUES AS RECORDED" : "VALUES NOT AS RECORDED", r->values, r->identical, r->within,
        ES_RECOMPUTE_BOUND, r->faults, r->faults == 1 ? "" : "s", r->worst);
    for (const char *line = r->text.bytes; line != NULL && *line != '\0';) {
        size_t length = strcspn(line, "\n");
        struct es_text clean = {0};
        es_text_visible(&clean, line, length);
        fprintf(to, "  %s\n", clean.bytes != NULL ? clean.bytes : "");
        es_text_free(&clean);
        line += length + (line[length] == '\n');
    }
}
