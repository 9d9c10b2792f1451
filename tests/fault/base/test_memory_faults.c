/* Each allocation is refused in turn, once and from then on, until the operation completes: the answer must
 * be "out of memory" (as a status or in the findings), never a crash, and never a good answer that lacks a
 * part. Leaks show under the address sanitizer. */
#include <cjson/cJSON.h>
#include <criterion/criterion.h>
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/document.h"
#include "rig/base/file.h"
#include "rig/base/text.h"
#include "tests/support/memory/refuse.h"

TestSuite(memory_faults, .init = refuse_setup);

struct target {
    char *text;
    double pressure;
    int choice;
};

static const char *const words[] = {"first", "second", NULL};
static const struct es_field rows[] = {
    {.name = "text", .kind = ES_FIELD_TEXT, .offset = offsetof(struct target, text), .fallback = "none"},
    {.name = "pressure",
     .kind = ES_FIELD_QUANTITY,
     .offset = offsetof(struct target, pressure),
     .dimension = ES_DIM_PRESSURE},
    {.name = "choice", .kind = ES_FIELD_CHOICE, .offset = offsetof(struct target, choice), .choices = words},
};

/* Reads `text` by the rows; true when that went well. */
static bool read_all(const char *text, struct target *t, struct es_findings *f, enum es_status *status)
{
    struct es_document *doc = NULL;
    struct es_error err = {0};
    bool good = false;

    *status = es_document_parse("t.json", text, strlen(text), f, &doc, &err);
    if (*status == ES_OK) {
        good = es_fields_read(doc, es_document_root(doc), rows, 3, t, f);
        *status = es_findings_status(f, &err);
    }
    es_document_free(doc);
    return good;
}

Test(memory_faults, a_good_document)
{
    static const char text[] =
        "{\"text\":\"hello\",\"pressure\":\"4 bar\",\"choice\":\"second\",\"note\":\"x\"}";

    for (int ever = 0; ever < 2; ever++) {
        for (unsigned n = 1;; n++) {
            struct target t = {0};
            struct es_findings f = {0};
            enum es_status status = ES_OK;
            refuse_arm(n, ever);
            bool good = read_all(text, &t, &f, &status);
            bool undisturbed = refuse_disarm();
            cr_assert_lt(n, 200);
            cr_expect_eq(good, undisturbed, "allocation %u", n);
            cr_expect_eq(status, undisturbed ? ES_OK : ES_NO_MEMORY, "allocation %u: %s", n,
                         es_status_word(status));
            if (good)
                cr_expect(t.choice == 1 && strcmp(t.text, "hello") == 0);
            es_fields_free(rows, 3, &t);
            es_findings_free(&f);
            if (undisturbed)
                break;
        }
    }
}

static void bad_document(const char *text)
{
    for (int ever = 0; ever < 2; ever++) {
        for (unsigned n = 1;; n++) {
            struct target t = {0};
            struct es_findings f = {0};
            enum es_status status = ES_OK;
            refuse_arm(n, ever);
            bool good = read_all(text, &t, &f, &status);
            bool undisturbed = refuse_disarm();
            cr_assert_lt(n, 500);
            cr_expect_not(good, "allocation %u of %s", n, text);
            cr_expect(status == ES_BAD_INPUT || status == ES_NO_MEMORY, "allocation %u: %s", n,
                      es_status_word(status));
            if (undisturbed)
                cr_expect_eq(status, ES_BAD_INPUT);
            es_fields_free(rows, 3, &t);
            es_findings_free(&f);
            if (undisturbed)
                break;
        }
    }
}

Test(memory_faults, bad_documents)
{
    bad_document("{\"text\":01,\"b\":[1,],}");
    bad_document("{\"text\":\"x\",\"text\":\"y\"}");
    bad_document("{\"texd\":\"x\",\"pressure\":\"4 mA\",\"choice\":\"secnd\",\"note\":4}");
}

Test(memory_faults, files)
{
    char folder[] = "/tmp/endstop-memory-XXXXXX", path[64];

    cr_assert_neq(mkdtemp(folder), NULL);
    (void)snprintf(path, sizeof path, "%s/a", folder);
    for (unsigned n = 1;; n++) {
        struct es_error err = {0};
        struct es_appender a = {0};
        char *bytes = NULL;
        size_t length = 0;
        refuse_arm(n, false);
        enum es_status write = es_file_write(NULL, path, ES_FILE_REPLACE, 0600, "x", 1, &err);
        enum es_status read = es_file_read(NULL, path, 10, &bytes, &length, &err);
        enum es_status open = es_appender_open(NULL, path, 0600, &a, &err);
        enum es_status make = es_folder_make(NULL, folder, 0700, &err);
        bool undisturbed = refuse_disarm();
        (void)es_appender_close(&a, NULL);
        free(bytes);
        cr_expect_eq(write == ES_OK && read == ES_OK && open == ES_OK && make == ES_OK, undisturbed,
                     "allocation %u", n);
        if (undisturbed)
            break;
        cr_assert_lt(n, 50);
    }
    (void)remove(path);
    (void)remove(folder);
}

Test(memory_faults, growing_text_keeps_what_it_has)
{
    for (unsigned n = 1; n < 12; n++) {
        struct es_text t = {0};
        refuse_arm(n, false);
        for (int i = 0; i < 1000; i++)
            es_text_printf(&t, "%d ", i);
        bool undisturbed = refuse_disarm();
        cr_expect_eq(t.out_of_memory, !undisturbed);
        if (t.bytes != NULL)
            cr_expect_eq(strlen(t.bytes), t.length);
        es_text_free(&t);
    }
}
