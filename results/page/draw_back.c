/* What the results rest on and what is not said: run, method, instruments, environment, limits, cautions,
 * statements. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "results/page/sheet.h"
#include "rig/base/number.h"
#include "rig/base/text.h"

#define RUN_ON_MOST 900 /* bytes of a paragraph in which items follow one another */

/* Adds "before text" when there is one, after a separator. */
static void join(struct es_text *out, const char *separator, const char *before, const char *text)
{
    if (text[0] != '\0')
        es_text_printf(out, "%s%s%s", out->length > 0 ? separator : "", before, text);
}

/* Sets what is in `text` in the size of small print, and empties it. */
static void paragraph(struct es_sheet *s, struct es_text *text)
{
    struct es_type type = es_sheet_type(s, 6.5, ES_REGULAR, ES_INK);
    type.lines = 14;
    if (text->length > 0)
        es_sheet_paragraph(s, &type, text->bytes);
    es_text_free(text);
}

/* Puts an item behind those before, and empties it; a paragraph that has grown long is set. */
static void run_on(struct es_sheet *s, struct es_text *all, struct es_text *item)
{
    if (item->length > 0)
        es_text_printf(all, "%s%s", all->length > 0 ? "  ·  " : "", item->bytes);
    es_text_free(item);
    if (all->length > RUN_ON_MOST)
        paragraph(s, all);
}

static void draw_run(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_text text = {0};
    char began[80], ended[80];
    es_page_time(c->began, began, sizeof began);
    es_page_time(c->ended, ended, sizeof ended);
    es_sheet_section(s, "Run");
    join(&text, "", "", began);
    join(&text, " to ", "", ended);
    join(&text, ", ", "by ", c->person);
    join(&text, ", ", "", c->attended ? "attended" : "unattended");
    join(&text, "; ", "", c->clock_synchronised ? "" : "the bench's clock was not synchronised");
    if (!isnan(c->safe_state_after))
        es_text_printf(&text, "; safe state %.2f s after the cause", c->safe_state_after);
    join(&text, "  ·  ", "", c->bench);
    join(&text, ", ", "station ", c->station);
    join(&text, "  ·  ", "", c->software);
    join(&text, "  ·  ", "run ", c->run);
    join(&text, "  ·  ", "random seed ", c->seed);
    join(&text, "  ·  ", "job ", c->job);
    paragraph(s, &text);
    join(&text, "", "Issued although a calibration was overdue: ", c->overdue_because);
    join(&text, "  ·  ", "Additions to, deviations from or exclusions of the method: ", c->deviations);
    paragraph(s, &text);
}

static const double method_widths[] = {72, 13, 17, 17, 29};

static void method_row(struct es_sheet *s, const struct es_content_document *d, const char *what,
                       const char *began, double seconds, const char *skipped)
{
    char duration[ES_NUMBER_SIZE] = "", time[12] = "", digest[20];
    struct es_text name = {0};
    if (!isnan(seconds))
        es_number_duration(seconds, duration);
    if (strlen(began) >= 19)
        snprintf(time, sizeof time, "%.8s", began + 11);
    snprintf(digest, sizeof digest, "%.16s", d->sha256);
    es_text_printf(&name, "%s%s%s%s", what, d->title[0] != '\0' ? d->title : d->name,
                   skipped[0] != '\0' ? "; left out: " : "", skipped);
    const char *texts[] = {name.bytes != NULL ? name.bytes : "", d->version, time, duration, digest};
    es_sheet_row(s, &(struct es_cells){texts, method_widths, 5, false, 1u << 4});
    es_text_free(&name);
}

static void draw_method(struct es_sheet *s)
{
    static const char *const head[] = {"Document", "Version", "Began, UTC", "Took", "SHA-256 begins"};
    const struct es_content *c = &s->content->c;
    if (c->plan.name[0] == '\0' && c->type_sheet.name[0] == '\0' && c->procedure_count == 0)
        return;
    es_sheet_section(s, "Method");
    es_sheet_row(s, &(struct es_cells){head, method_widths, 5, true, 0});
    if (c->plan.name[0] != '\0')
        method_row(s, &c->plan, "Plan: ", "", NAN, "");
    if (c->type_sheet.name[0] != '\0')
        method_row(s, &c->type_sheet, "Type sheet: ", "", NAN, "");
    for (size_t i = 0; i < c->procedure_count; i++)
        method_row(s, &c->procedures[i].d, "", c->procedures[i].began, c->procedures[i].duration,
                   c->procedures[i].skipped_because);
}

static void draw_instruments(struct es_sheet *s)
{
    static const char *const head[] = {"Instrument", "Identity", "Calibration", "Calibrated", "Due"};
    static const double widths[] = {57, 32, 25, 17, 17};
    const struct es_content *c = &s->content->c;
    if (c->instrument_count == 0)
        return;
    es_sheet_section(s, "Instruments and calibration");
    es_sheet_row(s, &(struct es_cells){head, widths, 5, true, 0});
    for (size_t i = 0; i < c->instrument_count; i++) {
        const struct es_content_instrument *instrument = &c->instruments[i];
        const char *calibration =
            instrument->calibration[0] != '\0' ? instrument->calibration : "none stated";
        const char *texts[] = {instrument->name, instrument->identity, calibration, instrument->calibrated,
                               instrument->due};
        es_sheet_row(s, &(struct es_cells){texts, widths, 5, false, 0});
    }
}

static void draw_environment(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_text all = {0};
    if (c->environment_count + c->condition_count == 0)
        return;
    es_sheet_section(s, "Environment");
    for (size_t i = 0; i < c->environment_count; i++) {
        const struct es_content_environment *e = &c->environment[i];
        struct es_text text = {0};
        struct es_number_text number;
        es_number_with_uncertainty(e->v.value, e->v.U, 3, &number);
        if (e->v.measured)
            es_text_printf(&text, "%s %s%s%s %s", e->name, number.value, number.U[0] != '\0' ? " ± " : "",
                           number.U, es_page_unit(e->unit));
        else
            es_text_printf(&text, "%s: not known%s%s", e->name, e->reason[0] != '\0' ? ", " : "", e->reason);
        run_on(s, &all, &text);
    }
    for (size_t i = 0; i < c->condition_count; i++) {
        struct es_text text = {0};
        es_text_printf(&text, "%s stands for gas at %s", c->conditions[i].name, c->conditions[i].text);
        run_on(s, &all, &text);
    }
    paragraph(s, &all);
}

static void draw_limits(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_text all = {0};
    if (c->source_count == 0)
        return;
    es_sheet_section(s, "Where the limits come from");
    for (size_t i = 0; i < c->source_count; i++) {
        struct es_text text = {0};
        for (size_t k = 0; k < c->sources[i].count; k++)
            join(&text, ", ", "", c->sources[i].limits[k]);
        join(&text, ": ", "", c->sources[i].source);
        run_on(s, &all, &text);
    }
    paragraph(s, &all);
}

static bool answered_alike(const struct es_content *c)
{
    for (size_t i = 1; i < c->confirmation_count; i++)
        if (strcmp(c->confirmations[i].answer, c->confirmations[0].answer) != 0 ||
            strcmp(c->confirmations[i].person, c->confirmations[0].person) != 0)
            return false;
    return true;
}

static void add_answer(const struct es_content_confirmation *confirmation, struct es_text *out)
{
    char time[80];
    es_page_time(confirmation->time, time, sizeof time);
    join(out, " ", "", confirmation->answer);
    join(out, " ", "by ", confirmation->person);
    join(out, ", ", "", time);
}

static void draw_cautions(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_text all = {0};
    if (c->confirmation_count == 0)
        return;
    bool alike = answered_alike(c);
    es_sheet_section(s, "Cautions and questions");
    for (size_t i = 0; i < c->confirmation_count; i++) {
        struct es_text text = {0};
        es_text_add(&text, c->confirmations[i].text);
        if (!alike) {
            es_text_add(&text, " —");
            add_answer(&c->confirmations[i], &text);
        }
        run_on(s, &all, &text);
    }
    if (alike) {
        struct es_text text = {0};
        es_text_add(&text, c->confirmation_count > 1 ? "All" : "Answer:");
        add_answer(&c->confirmations[0], &text);
        run_on(s, &all, &text);
    }
    paragraph(s, &all);
}

static void draw_statements(struct es_sheet *s)
{
    const struct es_content *c = &s->content->c;
    struct es_text all = {0};
    if (c->statement_count + c->not_given_count == 0)
        return;
    es_sheet_section(s, "What this says, and what not");
    for (size_t i = 0; i < c->statement_count; i++) {
        struct es_text text = {0};
        es_text_add(&text, c->statements[i]);
        run_on(s, &all, &text);
    }
    paragraph(s, &all);
    for (size_t i = 0; i < c->not_given_count; i++)
        join(&all, ", ", i == 0 ? "Not stated to the laboratory: " : "", c->not_given[i]);
    paragraph(s, &all);
}

void es_draw_back(struct es_sheet *s)
{
    draw_run(s);
    draw_method(s);
    draw_instruments(s);
    draw_environment(s);
    draw_limits(s);
    draw_cautions(s);
    draw_statements(s);
}
