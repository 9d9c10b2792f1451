/* Every fault has its note, every check finds something that exists. */
#include <criterion/criterion.h>
#include <string.h>

#include "drivers/virtual/virtual_bench.h"
#include "rig/study/notes.h"

Test(study_notes, every_fault_has_one)
{
    double sum = 0;
    for (size_t i = 0; i < es_virtual_fault_count(); i++) {
        const struct es_virtual_fault *f = es_virtual_fault_get((int)i);
        const struct es_fault_note *n = es_fault_note(f->name);
        cr_assert(n, "no note for the fault \"%s\" (rig/study/notes.c)", f->name);
        cr_expect(n->matters >= 0 && n->matters < 1 && n->rate > 0 && *n->because, "%s", f->name);
        sum += n->rate;
    }
    cr_expect_lt(sum, 0.5, "together the assumed rates make %g", sum);
}

static bool is_fault(const char *name, size_t length)
{
    for (size_t i = 0; i < es_virtual_fault_count(); i++) {
        const char *fault = es_virtual_fault_get((int)i)->name;
        if (strlen(fault) == length && !strncmp(fault, name, length)) {
            return true;
        }
    }
    return false;
}

Test(study_notes, checks_find_faults_that_exist_and_every_fault_is_found)
{
    size_t count;
    const struct es_check_note *checks = es_check_notes(&count);
    for (size_t i = 0; i < count; i++) {
        for (const char *at = checks[i].finds; *at;) {
            const size_t length = strcspn(at, "|");
            cr_expect(is_fault(at, length), "\"%.*s\" is no fault", (int)length, at);
            at += length + (at[length] == '|');
        }
        cr_expect(checks[i].minutes > 0 && *checks[i].text && *checks[i].caution);
    }
    for (size_t f = 0; f < es_virtual_fault_count(); f++) {
        const char *name = es_virtual_fault_get((int)f)->name;
        bool found = false;
        for (size_t i = 0; i < count; i++) {
            found = found || strstr(checks[i].finds, name);
        }
        cr_expect(found, "no check finds \"%s\"", name);
    }
}
