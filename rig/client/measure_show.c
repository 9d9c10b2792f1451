#include "rig/client/measure_show.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/number.h"
#include "rig/base/text.h"
#include "rig/client/measure_list.h"
#include "rig/console/display.h"
#include "rig/console/json_writer.h"
#include "rig/console/table.h"

static const struct es_unit *unit_of(const struct es_measured *m)
{
    return es_dimension_unit(m->dimension);
}

static void number_cells(const struct es_measured *m, struct es_number_text *text)
{
    const struct es_unit *unit = unit_of(m);
    es_number_with_uncertainty(es_to_unit(m->value, unit), es_to_unit_difference(m->U, unit),
                               floor(m->value) == m->value ? 0 : 6, text);
}

void es_measure_show_taken(const struct es_screen *screen, const char *name, const struct es_trace *trace)
{
    struct es_text text = {0}, clean = {0};
    es_text_printf(&text, "%s: ", name);
    for (size_t i = 0; i < trace->series_count; i++) {
        const struct es_series *s = &trace->series[i];
        double span = s->count > 0 ? s->t[s->count - 1] - s->t[0] : 0;
        es_text_printf(&text, "%s%s, %zu rows over %.4g s", i > 0 ? "; " : "", es_role_info(s->role)->name,
                       s->count, span);
    }
    if (trace->command_count > 0)
        es_text_printf(&text, "; %zu change%s of %s", trace->command_count,
                       trace->command_count == 1 ? "" : "s", es_role_info(trace->commands[0].role)->name);
    if (text.bytes != NULL)
        es_text_visible(&clean, text.bytes, text.length);
    es_display_wrap(clean.bytes != NULL ? clean.bytes : "", 2, screen->width, stdout);
    es_text_free(&clean);
    es_text_free(&text);
}

enum es_status es_measure_show_table(const struct es_screen *screen, const struct es_measured *values,
                                     size_t count, struct es_error *err)
{
    static const struct es_column columns[] = {
        {.title = "Output", .wraps = true, .least = 12},
        {.title = "Value", .align = ES_ALIGN_RIGHT},
        {.title = "", .gap = 1},
        {.title = "k", .align = ES_ALIGN_RIGHT},
        {.title = "Degrees of freedom", .align = ES_ALIGN_RIGHT},
    };
    struct es_table *table = es_table_new(columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < count; i++) {
        const struct es_measured *m = &values[i];
        if (!m->valid) {
            const char *cells[] = {m->name, "no value", "", "", ""};
            es_table_row(table, ES_STRONG, cells);
            if (i + 1 == count || values[i + 1].valid || strcmp(m->reason, values[i + 1].reason) != 0)
                es_table_note(table, 4, m->reason); /* once for all that share it */
            continue;
        }
        struct es_number_text text;
        char spread[96], k[32], dof[32];
        number_cells(m, &text);
        const char *unit = strcmp(unit_of(m)->name, "1") == 0 ? "" : unit_of(m)->name;
        snprintf(spread, sizeof spread, "%s%s%s%s", text.U[0] != '\0' ? (screen->utf8 ? "± " : "+- ") : "",
                 text.U, text.U[0] != '\0' && unit[0] != '\0' ? " " : "", unit);
        snprintf(k, sizeof k, "%.2f", m->k);
        if (isfinite(m->dof) && m->dof < 1e4)
            snprintf(dof, sizeof dof, "%.0f", m->dof);
        else
            snprintf(dof, sizeof dof, "%s", isfinite(m->dof) ? "> 10000" : "infinite");
        const char *cells[] = {m->name, text.value, spread, text.U[0] != '\0' ? k : "",
                               text.U[0] != '\0' ? dof : ""};
        es_table_row(table, ES_PLAIN, cells);
        if (m->spread.trials > 0) {
            char interval[160];
            snprintf(interval, sizeof interval, "95 %% from %.4g to %.4g%s%s by Monte Carlo, %zu trials",
                     es_to_unit(m->spread.low, unit_of(m)), es_to_unit(m->spread.high, unit_of(m)),
                     unit[0] != '\0' ? " " : "", unit, m->spread.trials);
            es_table_note(table, 4, interval);
        }
    }
    enum es_status s = es_table_print(table, screen->width, 0, screen->colour, stdout, err);
    es_table_free(table);
    return s;
}

void es_measure_show_csv(const struct es_measured *values, size_t count)
{
    static const char *const head[] = {"output", "value", "U", "k", "dof", "unit", "valid", "reason"};
    es_csv_row(stdout, head, sizeof head / sizeof head[0]);
    for (size_t i = 0; i < count; i++) {
        const struct es_measured *m = &values[i];
        char value[40] = "", U[40] = "", k[40] = "", dof[40] = "";
        if (m->valid) {
            snprintf(value, sizeof value, "%.12g", es_to_unit(m->value, unit_of(m)));
            snprintf(U, sizeof U, "%.6g", es_to_unit_difference(m->U, unit_of(m)));
            snprintf(k, sizeof k, "%.6g", m->k);
            snprintf(dof, sizeof dof, "%.6g", m->dof);
        }
        const char *cells[] = {m->name,  value, U, k, dof, unit_of(m)->name, m->valid ? "true" : "false",
                               m->reason};
        es_csv_row(stdout, cells, sizeof cells / sizeof cells[0]);
    }
}

enum es_status es_measure_show_json(const struct es_measure *measure, const struct es_measured *values,
                                    size_t count, struct es_error *err)
{
    struct es_text out = {0};
    es_json_object(&out, NULL);
    es_json_text(&out, "measure", measure->name);
    es_json_text(&out, "source", measure->source);
    es_json_array(&out, "values");
    for (size_t i = 0; i < count; i++) {
        const struct es_measured *m = &values[i];
        es_json_object(&out, NULL);
        es_json_text(&out, "output", m->name);
        es_json_bool(&out, "valid", m->valid);
        es_json_text(&out, "unit", unit_of(m)->name);
        if (m->valid) {
            es_json_number(&out, "value", es_to_unit(m->value, unit_of(m)));
            es_json_number(&out, "u", es_to_unit_difference(m->u, unit_of(m)));
            es_json_number(&out, "U", es_to_unit_difference(m->U, unit_of(m)));
            es_json_number(&out, "k", m->k);
            es_json_number(&out, "dof", m->dof);
            if (m->spread.trials > 0) {
                es_json_object(&out, "monte_carlo");
                es_json_number(&out, "low", es_to_unit(m->spread.low, unit_of(m)));
                es_json_number(&out, "high", es_to_unit(m->spread.high, unit_of(m)));
                es_json_integer(&out, "trials", (long)m->spread.trials);
                es_json_bool(&out, "stable", m->spread.stable);
                es_json_end_object(&out);
            }
        } else {
            es_json_text(&out, "reason", m->reason);
        }
        es_json_end_object(&out);
    }
    es_json_end_array(&out);
    es_json_end_object(&out);
    enum es_status s = es_text_status(&out, err);
    if (s == ES_OK)
        printf("%s\n", out.bytes);
    es_text_free(&out);
    return s;
}

static bool is_recorded(const struct es_trace *const *traces, size_t slots, enum es_role role)
{
    for (size_t k = 0; k < slots; k++) {
        if (traces[k] != NULL && es_trace_series(traces[k], role) != NULL)
            return true;
        for (size_t c = 0; traces[k] != NULL && c < traces[k]->command_count; c++)
            if (traces[k]->commands[c].role == role)
                return true;
    }
    return false;
}

static void add_channels(const struct es_measure_order *order, const struct es_trace *const *traces,
                         size_t slots, struct es_text *out)
{
    enum es_role wanted[8];
    size_t count = order->measure->roles(order->settings, wanted);
    for (size_t i = 0; i < count; i++)
        if (!is_recorded(traces, slots, wanted[i]))
            es_text_printf(out, "\n--column \"%s=COLUMN [UNIT]\"", es_role_info(wanted[i])->name);
}

static void add_fact(const struct es_measure_order *order, const char *name, struct es_text *out)
{
    const struct es_facts facts = {.items = order->facts, .count = order->fact_count};
    if (name != NULL && es_fact_find(&facts, name) == NULL)
        es_text_printf(out, "\n--fact \"%s=VALUE +- U\"", name);
}

static void add_facts(const struct es_measure_order *order, struct es_text *out)
{
    for (size_t i = 0; i < order->measure->setting_count; i++) {
        const struct es_field *row = &order->measure->settings[i];
        if (!es_setting_is_fact(row))
            continue;
        const char *name = *(char *const *)(const void *)((const char *)order->settings + row->offset);
        add_fact(order, name, out);
    }
    for (size_t i = 0; order->measure->facts_used != NULL && order->measure->facts_used[i] != NULL; i++)
        add_fact(order, order->measure->facts_used[i], out);
}

void es_measure_show_not_given(const struct es_screen *screen, const struct es_measure_order *order,
                               const struct es_trace *const *traces)
{
    const struct es_measure *m = order->measure;
    struct es_text text = {0};
    size_t slots = 0;
    while (m->trace_names[slots] != NULL)
        slots++;
    es_text_printf(&text, "not given, and perhaps what \"%s\" lacks:", m->name);
    const size_t begun = text.length;
    add_channels(order, traces, slots, &text);
    add_facts(order, &text);
    for (size_t k = 1; k < slots; k++)
        if (traces[k] == NULL)
            es_text_printf(&text, "\n--trace \"%s=FILE\"", m->trace_names[k]);
    if (text.bytes != NULL && text.length > begun) {
        (void)fflush(stdout); /* below the values where both are shown */
        es_display_wrap(text.bytes, 2, screen->width, stderr);
    }
    es_text_free(&text);
}
