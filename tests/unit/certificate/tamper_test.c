/* Whatever happens to a certificate's bytes, it never verifies again. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "results/certificate/canonical.h"
#include "tests/unit/certificate/sample.h"

static struct es_key *key;
static struct es_trusted_key trusted;
static char *file;
static size_t length;

static void setup(void)
{
    struct es_outcome outcome;
    key = sample_key();
    trusted = (struct es_trusted_key){.key = *es_key_public(key)};
    sample_outcome(&outcome, 2, 40);
    file = sample_signed(&outcome, key, &length);
    es_outcome_free(&outcome);
}

static void teardown(void)
{
    es_key_free(key);
    free(file);
}

/* The certificate of the other tests; one that a second person released; the record of a run that was not
 * completed. */
static void use(int which)
{
    struct es_outcome outcome;
    struct es_key *person = NULL;
    char *released = NULL;
    free(file);
    sample_outcome(&outcome, 2, which == 0 ? 40 : 0);
    outcome.completed = which != 2;
    outcome.ended_because = which == 2 ? strdup("the guard was opened") : NULL;
    file = sample_signed(&outcome, key, &length);
    if (which == 1) {
        unsigned char seed[32] = {9};
        cr_assert_eq(es_key_from_seed(seed, &person, NULL), ES_OK);
        cr_assert_eq(sample_release(file, length, person, "2026-02-04T08:00:00Z", &released, &length, NULL),
                     ES_OK);
        free(file);
        file = released;
        es_key_free(person);
    }
    es_outcome_free(&outcome);
}

TestSuite(tamper, .init = setup, .fini = teardown);

static bool verifies(const char *bytes, size_t size)
{
    struct es_certificate_report report;
    cr_assert_eq(es_certificate_verify("c", bytes, size, &trusted, 1, &report, NULL), ES_OK);
    bool valid = report.finding == ES_CERTIFICATE_VALID;
    return valid;
}

Test(tamper, untouched_file_verifies)
{
    cr_assert(verifies(file, length));
}

static void every_byte_changed(void)
{
    for (size_t i = 0; i < length; i++) {
        static const unsigned char masks[] = {0x01, 0x20};
        for (size_t m = 0; m < sizeof masks; m++) {
            file[i] = (char)(file[i] ^ masks[m]);
            cr_expect_not(verifies(file, length), "byte %zu changed by %02x", i, masks[m]);
            file[i] = (char)(file[i] ^ masks[m]);
        }
    }
    cr_assert(verifies(file, length));
}

Test(tamper, every_byte_changed_of_three)
{
    for (int which = 0; which < 3; which++) {
        use(which);
        cr_assert(verifies(file, length));
        every_byte_changed();
    }
}

static void every_byte_removed(void)
{
    char *copy = malloc(length);
    for (size_t i = 0; i < length; i++) {
        memcpy(copy, file, i);
        memcpy(copy + i, file + i + 1, length - i - 1);
        cr_expect_not(verifies(copy, length - 1), "byte %zu removed", i);
    }
    free(copy);
}

Test(tamper, every_byte_removed_of_three)
{
    for (int which = 0; which < 3; which++) {
        use(which);
        cr_assert(verifies(file, length));
        every_byte_removed();
    }
}

static void every_byte_duplicated_and_a_space_put_before_it(void)
{
    char *copy = malloc(length + 1);
    for (size_t i = 0; i <= length; i++) {
        const char extra[] = {i < length ? file[i] : '\n', ' '};
        for (size_t e = 0; e < sizeof extra; e++) {
            memcpy(copy, file, i);
            copy[i] = extra[e];
            memcpy(copy + i + 1, file + i, length - i);
            cr_expect_not(verifies(copy, length + 1), "%02x put in at %zu", (unsigned)extra[e], i);
        }
    }
    free(copy);
}

Test(tamper, every_byte_duplicated_and_a_space_put_before_it_of_three)
{
    for (int which = 0; which < 3; which++) {
        use(which);
        cr_assert(verifies(file, length));
        every_byte_duplicated_and_a_space_put_before_it();
    }
}

Test(tamper, every_truncation)
{
    for (size_t i = 0; i < length; i++) {
        cr_expect_not(verifies(file, i), "cut at %zu", i);
    }
}

/* The node with number `n` in the order of the file, and what holds it. */
static cJSON *find_node(cJSON *parent, size_t *n, cJSON **holder)
{
    for (cJSON *item = parent->child; item; item = item->next) {
        if ((*n)-- == 0) {
            *holder = parent;
            return item;
        }
        cJSON *inner = find_node(item, n, holder);
        if (inner) {
            return inner;
        }
    }
    return NULL;
}

enum harm { REMOVED, RENAMED, DOUBLED, EMPTIED, HARMS };

static void do_harm(cJSON *holder, cJSON *item, enum harm how)
{
    cJSON *twin = cJSON_Duplicate(item, 1);
    if (cJSON_IsArray(holder) && how == RENAMED) { /* elements have no name: another one is put in */
        cJSON_Delete(twin);
        cJSON_AddItemToArray(holder, cJSON_CreateFalse());
        return;
    }
    if (how == DOUBLED && cJSON_IsArray(holder)) {
        cJSON_AddItemToArray(holder, twin);
    } else if (how == DOUBLED || how == RENAMED) {
        cJSON_AddItemToObject(holder, "zzz", twin);
    } else {
        cJSON_Delete(twin);
    }
    if (how == REMOVED || how == RENAMED) {
        cJSON_Delete(cJSON_DetachItemViaPointer(holder, item));
    } else if (how == EMPTIED) {
        cJSON_Delete(item->child);
        item->child = NULL;
        item->type = cJSON_NULL;
    }
}

/* Changes of the tree, each written in canonical form again. */
Test(tamper, every_member_and_element_removed_renamed_doubled_or_emptied)
{
    static const char *const names[] = {"removed", "renamed", "doubled", "emptied"};
    cJSON *root = cJSON_Parse(file);
    size_t nodes = 0;
    for (;; nodes++) {
        for (enum harm how = REMOVED; how < HARMS; how++) {
            size_t n = nodes;
            cJSON *holder = NULL;
            cJSON *copy = cJSON_Duplicate(root, 1);
            cJSON *item = find_node(copy, &n, &holder);
            if (!item) {
                cJSON_Delete(copy);
                goto done;
            }
            char *bytes = NULL;
            size_t size = 0;
            do_harm(holder, item, how);
            cr_assert_eq(es_canonical_write(copy, &bytes, &size, NULL), ES_OK);
            cr_expect_not(verifies(bytes, size), "node %zu %s", nodes, names[how]);
            free(bytes);
            cJSON_Delete(copy);
        }
    }
done:
    cr_expect_gt(nodes, 150);
    cJSON_Delete(root);
}

Test(tamper, verdicts_swapped_and_signature_of_another_certificate)
{
    struct es_outcome outcome;
    sample_outcome(&outcome, 2, 40);
    outcome.lines[0].verdict = ES_FAIL;
    outcome.verdict = ES_FAIL;
    size_t other_length = 0;
    char *other = sample_signed(&outcome, key, &other_length);
    cr_assert(verifies(other, other_length));
    cJSON *good = cJSON_Parse(file);
    cJSON *bad = cJSON_Parse(other);
    cJSON_ReplaceItemInObject(bad, "signatures", cJSON_DetachItemFromObject(good, "signatures"));
    char *mixed = NULL;
    size_t mixed_length = 0;
    cr_assert_eq(es_canonical_write(bad, &mixed, &mixed_length, NULL), ES_OK);
    cr_expect_not(verifies(mixed, mixed_length));
    free(mixed);
    cJSON_Delete(good);
    cJSON_Delete(bad);
    free(other);
    es_outcome_free(&outcome);
}
