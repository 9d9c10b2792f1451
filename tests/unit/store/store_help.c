#include "tests/unit/store/store_help.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

char help_folder[64];

const struct es_store_key_order help_order = {.who = "A. Example", .when = "2026-02-03T08:00:00Z"};

static struct {
    const char *kind, *serial, *run;
} wanted;

void help_setup(void)
{
    strcpy(help_folder, "/tmp/es-store-XXXXXX");
    cr_assert_not_null(mkdtemp(help_folder));
}

void help_teardown(void)
{
    char command[128];
    (void)snprintf(command, sizeof command, "rm -rf %s", help_folder);
    cr_assert_eq(system(command), 0);
}

static enum es_status make(void *self, const char *number, char **bytes, size_t *length, struct es_error *err)
{
    (void)self;
    int n = asprintf(
        bytes,
        "{\"endstop\":\"certificate/1\",\"issued\":\"2026-02-03T10:00:00Z\",\"kind\":\"%s\","
        "\"number\":\"%s\",\"run\":{\"id\":\"%s\"},\"unit\":{\"serial\":\"%s\"},\"verdict\":\"pass\"}",
        wanted.kind, number, wanted.run, wanted.serial);
    if (n < 0) {
        return es_fail(err, ES_NO_MEMORY, "no memory");
    }
    *length = (size_t)n;
    return ES_OK;
}

struct es_store_maker help_maker(const char *kind, const char *serial, const char *run)
{
    wanted.kind = kind;
    wanted.serial = serial;
    wanted.run = run;
    return (struct es_store_maker){.make = make};
}

struct es_store *help_open(enum es_store_mode mode)
{
    struct es_store *store = NULL;
    struct es_error err;
    cr_assert_eq(es_store_open(help_folder, mode, &store, &err), ES_OK, "%s", err.text);
    return store;
}
