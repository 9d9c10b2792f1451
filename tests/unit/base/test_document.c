#include <criterion/criterion.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/document.h"

static struct es_document *parse(const char *text)
{
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc = NULL;

    cr_assert_eq(es_document_parse("t.json", text, strlen(text), &f, &doc, &err), ES_OK, "%s", err.text);
    cr_assert_not(es_findings_any(&f));
    return doc;
}

static const cJSON *get(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);

    cr_assert_neq(item, NULL, "%s", name);
    return item;
}

Test(document, keeps_positions_of_values_and_names)
{
    static const char text[] =
        "{\n  \"caf\xC3\xA9\": [10, {\"x\": true}],\n  \"b\": \"\xE2\x82\xAC\", \"c\": null\n}";
    struct es_document *doc = parse(text);
    const cJSON *root = es_document_root(doc);
    unsigned line = 0, column = 0;

    es_document_at(doc, root, &line, &column);
    cr_expect(line == 1 && column == 1);
    const cJSON *list = get(root, "caf\xC3\xA9");
    es_document_at(doc, list, &line, &column);
    cr_expect(line == 2 && column == 11);
    es_document_name_at(doc, list, &line, &column);
    cr_expect(line == 2 && column == 3);
    es_document_at(doc, cJSON_GetArrayItem(list, 0), &line, &column);
    cr_expect(line == 2 && column == 12);
    es_document_name_at(doc, cJSON_GetArrayItem(list, 0), &line, &column);
    cr_expect(line == 0 && column == 0, "an element has no name");
    es_document_at(doc, get(cJSON_GetArrayItem(list, 1), "x"), &line, &column);
    cr_expect(line == 2 && column == 22);
    es_document_at(doc, get(root, "c"), &line, &column);
    cr_expect(line == 3 && column == 18, "%u:%u", line, column);
    es_document_at(doc, NULL, &line, &column);
    cr_expect(line == 0 && column == 0);
    cJSON stranger = {0};
    es_document_at(doc, &stranger, &line, &column);
    cr_expect(line == 0 && column == 0);
    es_document_free(doc);
}

Test(document, text_name_and_values)
{
    struct es_document *doc = parse("{\"a\": 0.1, \"s\": \"\\u00e9\\uD83D\\uDE00\"}");
    size_t length = 0;

    cr_expect_str_eq(es_document_name(doc), "t.json");
    cr_expect_str_eq(es_document_text(doc, &length), "{\"a\": 0.1, \"s\": \"\\u00e9\\uD83D\\uDE00\"}");
    cr_expect_eq(length, 37);
    cr_expect_neq(es_document_text(doc, NULL), NULL);
    cr_expect_eq(get(es_document_root(doc), "a")->valuedouble, 0.1);
    cr_expect_str_eq(get(es_document_root(doc), "s")->valuestring, "\xC3\xA9\xF0\x9F\x98\x80");
    es_document_free(doc);
    es_document_free(NULL);
}

Test(document, names_stand_once)
{
    static const char text[] =
        "{\"a\": 1,\n \"b\": {\"x\": 1, \"y\": 2, \"x\": 3},\n \"\\u0061\": 2, \"A\": 3, \"a\": 4}";
    struct es_findings f = {0};
    struct es_document *doc = NULL;
    struct es_error err = {0};

    cr_expect_eq(es_document_parse("t.json", text, strlen(text), &f, &doc, &err), ES_BAD_INPUT);
    cr_expect_eq(doc, NULL);
    cr_assert_eq(f.count, 3);
    cr_expect_str_eq(f.items[0].found, "the name \"a\" a second time");
    cr_expect(f.items[0].line == 3 && f.items[0].column == 2, "an escaped a is an a");
    cr_expect(f.items[1].line == 3 && f.items[1].column == 23, "%u", f.items[1].column);
    cr_expect(f.items[2].line == 2 && f.items[2].column == 24, "%u", f.items[2].column);
    cr_expect_neq(strstr(f.items[2].expected, "first at 2:8"), NULL, "%s", f.items[2].expected);
    es_findings_free(&f);
}

/* 100 000 members: finding doubles must not take time that grows with the square. */
Test(document, many_members, .timeout = 10)
{
    size_t size = 100000 * 16 + 16, used = 1;
    char *text = malloc(size);

    cr_assert_neq(text, NULL);
    text[0] = '{';
    for (int i = 0; i < 100000; i++)
        used += (size_t)snprintf(text + used, size - used, "%s\"m%d\":%d", i ? "," : "", i, i);
    text[used++] = '}';
    text[used] = '\0';
    struct es_document *doc = parse(text);
    es_document_free(doc);
    free(text);
}

Test(document, too_large)
{
    struct es_findings f = {0};
    struct es_document *doc = NULL;
    char *text = calloc(1, ES_DOCUMENT_MAX + 2);

    cr_assert_neq(text, NULL);
    memset(text, ' ', ES_DOCUMENT_MAX + 1);
    text[0] = '1';
    cr_expect_eq(es_document_parse("t.json", text, ES_DOCUMENT_MAX + 1, &f, &doc, NULL), ES_BAD_INPUT);
    cr_expect_eq(f.count, 1);
    es_findings_free(&f);
    cr_expect_eq(es_document_parse("t.json", text, ES_DOCUMENT_MAX, &f, &doc, NULL), ES_OK);
    es_document_free(doc);
    free(text);
}

Test(document, load_from_files)
{
    char folder[] = "/tmp/endstop-document-XXXXXX", path[64];
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc = NULL;

    cr_assert_neq(mkdtemp(folder), NULL);
    (void)snprintf(path, sizeof path, "%s/a.json", folder);
    cr_expect_eq(es_document_load(path, &f, &doc, &err), ES_NOT_FOUND);
    cr_expect_neq(strstr(err.text, path), NULL);
    cr_expect_eq(es_document_load(folder, &f, &doc, &err), ES_BAD_INPUT, "a folder is no document");
    FILE *to = fopen(path, "w");
    cr_assert_neq(to, NULL);
    cr_assert_geq(fputs("{\"a\": 1}\n", to), 0);
    cr_assert_eq(fclose(to), 0);
    cr_assert_eq(es_document_load(path, &f, &doc, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(es_document_name(doc), path);
    cr_expect_not(es_findings_any(&f));
    es_document_free(doc);
    (void)unlink(path);
    (void)rmdir(folder);
}

Test(document, load_from_standard_input)
{
    int ends[2];
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc = NULL;

    cr_assert_eq(pipe(ends), 0);
    cr_assert_eq(write(ends[1], "[1, 2", 5), 5);
    (void)close(ends[1]);
    cr_assert_eq(dup2(ends[0], STDIN_FILENO), STDIN_FILENO);
    cr_expect_eq(es_document_load("-", &f, &doc, &err), ES_BAD_INPUT);
    cr_assert_eq(f.count, 1);
    cr_expect_str_eq(f.items[0].file, "standard input");
    es_findings_free(&f);
}

Test(document, long_values_are_cut_between_characters)
{
    struct es_document *doc = parse(
        "[\"\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC"
        "\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2\x82\xAC\xE2"
        "\x82\xAC\"]");
    struct es_findings f = {0};

    es_document_fault(doc, cJSON_GetArrayItem(es_document_root(doc), 0), &f, NULL, "x");
    cr_assert_eq(f.count, 1);
    cr_expect_eq(strlen(f.items[0].found), 1 + 15 * 3 + 3, "%s", f.items[0].found);
    es_findings_free(&f);
    es_document_free(doc);
}

Test(document, load_refuses_what_is_too_large)
{
    struct es_findings f = {0};
    struct es_error err = {0};
    struct es_document *doc = NULL;

    cr_expect_eq(es_document_load("/dev/zero", &f, &doc, &err), ES_BAD_INPUT, "it never ends");
    cr_assert_eq(f.count, 1);
    cr_expect_str_eq(f.items[0].found, "more than 4 MiB");
    cr_expect_eq(doc, NULL);
    es_findings_free(&f);
}

Test(document, fault_shows_the_value_and_its_place)
{
    struct es_document *doc =
        parse("{\"a\": \"4 bra\",\n \"b\": [1,2], \"c\": {}, \"d\": "
              "\"a text that is too long to be shown whole in one line of a terminal\"}");
    const cJSON *root = es_document_root(doc);
    struct es_findings f = {0};

    es_document_fault(doc, get(root, "a"), &f, NULL, "a %s", "pressure");
    es_document_fault(doc, get(root, "b"), &f, NULL, "x");
    es_document_fault(doc, get(root, "c"), &f, NULL, "x");
    es_document_fault(doc, get(root, "d"), &f, NULL, "x");
    es_document_fault_advice(doc, root, &f, "this", "Do that.", "x");
    es_document_fault(doc, NULL, &f, NULL, "x");
    cr_assert_eq(f.count, 6);
    cr_expect_str_eq(f.items[0].found, "\"4 bra\"");
    cr_expect_str_eq(f.items[0].expected, "a pressure");
    cr_expect(f.items[0].line == 1 && f.items[0].column == 7);
    cr_expect_str_eq(f.items[1].found, "a list of 2");
    cr_expect_str_eq(f.items[2].found, "an object");
    cr_expect_eq(strlen(f.items[3].found), 48 + 3);
    cr_expect_str_eq(f.items[4].found, "this");
    cr_expect_str_eq(f.items[4].advice, "Do that.");
    cr_expect_str_eq(f.items[5].found, "nothing");
    es_findings_free(&f);
    es_document_free(doc);
}
