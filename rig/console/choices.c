#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "rig/console/choices.h"

#define MOST 1000

static const char plan_ending[] = ".plan.json";

static bool ends_in(const char *name, const char *ending)
{
    size_t length = strlen(name), tail = strlen(ending);
    return length > tail && strcmp(name + length - tail, ending) == 0;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

enum es_status es_choices_read(const char *folder, const char *ending, struct es_choices *out,
                               struct es_error *err)
{
    const struct dirent *entry;
    struct es_choices names = {0};
    DIR *dir = opendir(folder);
    if (dir == NULL)
        return es_fail_errno(err, errno, "%s cannot be read", folder);
    enum es_status s = ES_OK;
    names.items = calloc(MOST, sizeof *names.items);
    if (names.items == NULL) {
        s = es_fail(err, ES_NO_MEMORY, "not enough memory for a list");
        goto close_dir;
    }
    while (s == ES_OK && names.count < MOST && (entry = readdir(dir)) != NULL) {
        const char *name = entry->d_name;
        bool plan_too = strcmp(ending, plan_ending) != 0 && ends_in(name, plan_ending);
        if (name[0] == '.' || plan_too || !ends_in(name, ending))
            continue;
        char *stem = strndup(name, strlen(name) - strlen(ending));
        if (stem == NULL)
            s = es_fail(err, ES_NO_MEMORY, "not enough memory for a list");
        else
            names.items[names.count++] = stem;
    }
    if (s != ES_OK) {
        es_choices_free(&names);
        goto close_dir;
    }
    qsort(names.items, names.count, sizeof *names.items, by_name);
    *out = names;
close_dir:
    closedir(dir);
    return s;
}

void es_choices_free(struct es_choices *names)
{
    for (size_t i = 0; i < names->count; i++)
        free(names->items[i]);
    free(names->items);
    *names = (struct es_choices){0};
}

void es_choices_tell(const char *folder, const char *ending, struct es_text *out)
{
    struct es_choices names = {0};
    if (es_choices_read(folder, ending, &names, NULL) != ES_OK || names.count == 0)
        es_text_printf(out, "there is none in %s", folder);
    else
        es_text_add(out, names.count == 1 ? "there is only " : "there are ");
    for (size_t i = 0; i < names.count; i++)
        es_text_printf(out, "%s\"%s\"", i == 0 ? "" : i + 1 == names.count ? " and " : ", ", names.items[i]);
    es_choices_free(&names);
}
