#include "rig/client/certificate_causes.h"

#include <math.h>
#include <string.h>

#include "rig/base/text.h"
#include "rig/client/talk.h"
#include "rig/console/display.h"

#define INDENT 2

/* Wraps text made here out of texts from the document, harmless for the terminal; lines after the first are
 * indented by `hang` more. */
static void item(struct es_text *text, size_t indent, size_t hang, const struct es_screen *screen, FILE *to)
{
    struct es_text clean = {0};
    es_text_visible(&clean, text->bytes ? text->bytes : "", text->length);
    fprintf(to, "%*s", (int)indent, "");
    es_display_wrap_after(clean.bytes ? clean.bytes : "", indent, indent + hang, screen->width, to);
    es_text_free(&clean);
    es_text_free(text);
}

static void paragraph(struct es_text *text, size_t indent, const struct es_screen *screen, FILE *to)
{
    item(text, indent, 0, screen, to);
}

/* "84 %", "0.6 %", "under 0.1 %", "over 99 %": nothing is certain */
static void share(struct es_text *out, double probability)
{
    const double percent = 100 * probability;
    if (percent < 0.1) {
        es_text_add(out, "under 0.1 %");
    } else if (percent > 99) {
        es_text_add(out, "over 99 %");
    } else {
        es_text_printf(out, "%.*f %%", percent < 10 ? 1 : 0, percent);
    }
}

static void print_cause(const cJSON *cause, int rank, const struct es_screen *screen, FILE *to)
{
    struct es_text text = {0};
    const cJSON *evidence;
    es_text_printf(&text, "%d. ", rank);
    share(&text, es_member_number(cause, "probability"));
    es_text_printf(&text, "  %s (%s)", es_member_text(cause, "cause"), es_member_text(cause, "place"));
    item(&text, INDENT, 3, screen, to);
    cJSON_ArrayForEach(evidence, es_member(cause, "evidence"))
    {
        const char *sentence = cJSON_GetStringValue(evidence);
        es_text_add(&text, sentence ? sentence : "");
        paragraph(&text, INDENT + 3, screen, to);
    }
}

static void print_likely(const cJSON *about, const struct es_screen *screen, FILE *to)
{
    struct es_text text = {0};
    const cJSON *cause, *next = es_member(about, "next_check");
    int rank = 0;
    es_text_add(&text, "Likely causes (an interpretation, no result):");
    paragraph(&text, 0, screen, to);
    cJSON_ArrayForEach(cause, es_member(about, "causes"))
    {
        print_cause(cause, ++rank, screen, to);
    }
    if (rank == 0) {
        es_text_add(&text, "none is likelier than another");
        paragraph(&text, INDENT, screen, to);
    }
    const double none = es_member_number(about, "no_fault");
    if (none >= 0.01) {
        es_text_add(&text, "No fault at all: ");
        share(&text, none);
        paragraph(&text, INDENT, screen, to);
    }
    if (next) {
        es_text_printf(&text, "Next: %s (%.0f min)", es_member_text(next, "do"),
                       es_member_number(next, "minutes"));
        item(&text, INDENT, 3, screen, to);
        es_text_printf(&text, "Caution: %s", es_member_text(next, "caution"));
        item(&text, INDENT, 3, screen, to);
    }
}

static void print_remaining(const cJSON *about, const struct es_screen *screen, FILE *to)
{
    struct es_text text = {0};
    const cJSON *cause;
    const char *before = "; most likely: ";
    es_text_add(&text, "Undetected fault (an interpretation, no result): ");
    share(&text, es_member_number(about, "probability"));
    es_text_add(&text, ", at most ");
    share(&text, es_member_number(about, "at_most"));
    es_text_add(&text, "; before the test ");
    share(&text, es_member_number(about, "before_the_test"));
    cJSON_ArrayForEach(cause, es_member(about, "leading"))
    {
        es_text_printf(&text, "%s%s ", before, es_member_text(cause, "cause"));
        share(&text, es_member_number(cause, "probability"));
        before = ", ";
    }
    paragraph(&text, 0, screen, to);
}

/* "; nozzle blocked from 1.2 % to 2.5 %" for each cause that is named. */
static void print_moves(struct es_text *text, const cJSON *about)
{
    const cJSON *cause, *list = es_member(about, "causes");
    list = list ? list : es_member(about, "leading");
    cJSON_ArrayForEach(cause, list)
    {
        const cJSON *prior = es_member(cause, "prior");
        if (!prior) {
            continue;
        }
        es_text_printf(text, "; %s from ", es_member_text(cause, "cause"));
        share(text, es_member_number(prior, "assumed"));
        es_text_add(text, " to ");
        share(text, es_member_number(prior, "moved_to"));
    }
}

/* What the figures rest on, and that the workshop's own repairs moved them. */
static void print_basis(const cJSON *about, const struct es_screen *screen, FILE *to)
{
    struct es_text text = {0};
    const cJSON *remark;
    const double repairs = es_member_number(about, "confirmed_repairs");
    es_text_printf(&text, "Learned from %s", es_member_text(about, "learned_from"));
    if (repairs > 0) {
        es_text_printf(&text, "; how often each fault occurs: assumed, moved by %.0f confirmed repair%s",
                       repairs, repairs > 1 ? "s" : "");
        print_moves(&text, about);
    } else {
        es_text_add(&text, "; how often each fault occurs is assumed");
    }
    cJSON_ArrayForEach(remark, es_member(about, "remarks"))
    {
        const char *sentence = cJSON_GetStringValue(remark);
        es_text_printf(&text, "; %s", sentence ? sentence : "");
    }
    es_text_add(&text, ". The assumptions stand in the certificate.");
    paragraph(&text, INDENT, screen, to);
}

void es_certificate_view_causes(const cJSON *root, const struct es_screen *screen, FILE *to)
{
    const cJSON *about = es_member(root, "interpretation");
    const char *kind = es_member_text(about, "about");
    if (!about) {
        return;
    }
    fputc('\n', to);
    if (strcmp(kind, "likely causes") == 0) {
        print_likely(about, screen, to);
    } else if (strcmp(kind, "undetected fault") == 0) {
        print_remaining(about, screen, to);
    } else {
        struct es_text text = {0};
        es_text_printf(&text, "Likely causes and undetected faults: not known; %s",
                       es_member_text(about, "why"));
        paragraph(&text, 0, screen, to);
        return;
    }
    print_basis(about, screen, to);
}
