#include "tests/support/memory/refuse.h"

#include <cjson/cJSON.h>
#include <criterion/criterion.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

static unsigned calls, refuse_at;
static bool for_ever, armed;

bool refuse_next(void)
{
    if (!armed) {
        return false;
    }
    calls++;
    return calls == refuse_at || (for_ever && calls > refuse_at);
}

/* The linker puts these before the library's own (-Wl,--wrap), for the objects of this program. */
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__real_reallocarray(void *old, size_t count, size_t size);
char *__real_strdup(const char *text);
char *__real_strndup(const char *text, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);
void *__wrap_reallocarray(void *old, size_t count, size_t size);
char *__wrap_strdup(const char *text);
char *__wrap_strndup(const char *text, size_t size);
int __wrap_asprintf(char **out, const char *format, ...) __attribute__((format(printf, 2, 3)));
int __wrap___asprintf_chk(char **out, int flag, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

void *__wrap_malloc(size_t size)
{
    return refuse_next() ? NULL : __real_malloc(size);
}
void *__wrap_calloc(size_t count, size_t size)
{
    return refuse_next() ? NULL : __real_calloc(count, size);
}
void *__wrap_realloc(void *old, size_t size)
{
    return refuse_next() ? NULL : __real_realloc(old, size);
}
void *__wrap_reallocarray(void *old, size_t count, size_t size)
{
    return refuse_next() ? NULL : __real_reallocarray(old, count, size);
}
char *__wrap_strdup(const char *text)
{
    return refuse_next() ? NULL : __real_strdup(text);
}
char *__wrap_strndup(const char *text, size_t size)
{
    return refuse_next() ? NULL : __real_strndup(text, size);
}
__attribute__((format(printf, 2, 0))) static int print_unless_refused(char **out, const char *format,
                                                                      va_list args)
{
    return refuse_next() ? -1 : vasprintf(out, format, args);
}
int __wrap_asprintf(char **out, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    int n = print_unless_refused(out, format, args);
    va_end(args);
    return n;
}
int __wrap___asprintf_chk(char **out, int flag, const char *format, ...)
{
    (void)flag;
    va_list args;
    va_start(args, format);
    int n = print_unless_refused(out, format, args);
    va_end(args);
    return n;
}

static void *cjson_malloc(size_t size)
{
    return __wrap_malloc(size);
}

void refuse_setup(void)
{
    cJSON_Hooks hooks = {.malloc_fn = cjson_malloc, .free_fn = free};
    cJSON_InitHooks(&hooks);
}

void refuse_arm(unsigned at, bool ever)
{
    calls = 0;
    refuse_at = at;
    for_ever = ever;
    armed = true;
}

bool refuse_disarm(void)
{
    armed = false;
    return calls < refuse_at;
}

static bool try_one(enum es_status (*operation)(void), unsigned n, bool ever, bool lenient)
{
    refuse_arm(n, ever);
    enum es_status st = operation();
    if (refuse_disarm()) {
        cr_expect_eq(st, ES_OK, "without refusal it goes through, not %d", (int)st);
        return false;
    }
    cr_expect(st == ES_NO_MEMORY || (lenient && st == ES_OK), "allocation %u refused%s: status %d", n,
              ever ? " and all after" : "", (int)st);
    return true;
}

void refuse_each(enum es_status (*operation)(void), unsigned least, unsigned step, bool lenient)
{
    for (int ever = 0; ever < 2; ever++) {
        unsigned n = 1;
        while (try_one(operation, n, ever, lenient)) {
            n += n < 100 ? 1 : step;
        }
        cr_expect_gt(n, least, "it allocates more than that");
    }
}
