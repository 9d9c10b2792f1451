/* The table of detection as a document. Bins that were never met are left out, and those where
 * nearly all are. */
#include "rig/console/json_writer.h"
#include "rig/study/learn.h"

static void bins(struct es_text *t, const char *name, const uint32_t counts[ES_DETECTION_BINS], size_t usual)
{
    es_json_array(t, name);
    for (size_t i = 0; i < ES_DETECTION_BINS; i++) {
        if (counts[i] && i != usual) {
            es_json_integer(t, NULL, (long long)i);
            es_json_integer(t, NULL, counts[i]);
        }
    }
    es_json_end_array(t);
}

static void cell(struct es_text *t, const char *name, const struct es_detection_cell *c)
{
    es_json_array(t, name);
    es_json_integer(t, NULL, c->units);
    es_json_integer(t, NULL, c->passed);
    es_json_integer(t, NULL, c->failed);
    es_json_end_array(t);
}

/* The bin of most units of a line: what falls there is left out and follows from how many units there were.
 */
static size_t usual_bin(const struct es_detection_line *l)
{
    size_t usual = 0;
    for (size_t i = 1; i < ES_DETECTION_BINS; i++) {
        usual = l->good[i] > l->good[usual] ? i : usual;
    }
    return usual;
}

static bool all_usual(const uint32_t counts[ES_DETECTION_BANDS][ES_DETECTION_BINS], size_t usual)
{
    uint32_t others = 0;
    for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
        for (size_t i = 0; i < ES_DETECTION_BINS; i++) {
            others += i != usual ? counts[band][i] : 0;
        }
    }
    return others == 0;
}

static void line(struct es_text *t, const struct es_detection *d, const struct es_detection_line *l)
{
    const size_t usual = usual_bin(l);
    es_json_object(t, NULL);
    es_json_text(t, "procedure", l->procedure);
    es_json_text(t, "measurand", l->measurand);
    es_json_number(t, "middle", l->middle);
    es_json_number(t, "scatter", l->scatter);
    es_json_array(t, "reasons");
    for (size_t i = 0; i < l->reason_count; i++) {
        es_json_text(t, NULL, l->reasons[i]);
    }
    es_json_end_array(t);
    es_json_integer(t, "usual", (long long)usual);
    bins(t, "good", l->good, usual);
    es_json_object(t, "causes");
    for (size_t i = 0; i < d->cause_count; i++) {
        if (all_usual(l->causes[i], usual)) {
            continue;
        }
        es_json_array(t, d->causes[i].name);
        for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
            bins(t, NULL, l->causes[i][band], usual);
        }
        es_json_end_array(t);
    }
    es_json_end_object(t);
    es_json_end_object(t);
}

static void one_type(struct es_text *t, const struct es_detection *d, const struct es_detection_type *type)
{
    es_json_object(t, NULL);
    es_json_text(t, "name", type->name);
    es_json_text(t, "version", type->version);
    es_json_text(t, "digest", type->digest);
    es_json_text(t, "kind", es_unit_kind_word((enum es_unit_kind)type->kind));
    cell(t, "good", &type->good);
    es_json_object(t, "causes");
    for (size_t i = 0; i < d->cause_count; i++) {
        if (!es_detection_possible(type, i)) {
            continue;
        }
        es_json_array(t, d->causes[i].name);
        for (size_t band = 0; band < ES_DETECTION_BANDS; band++) {
            cell(t, NULL, &type->causes[i][band]);
        }
        es_json_end_array(t);
    }
    es_json_end_object(t);
    es_json_array(t, "lines");
    for (size_t i = 0; i < type->line_count; i++) {
        line(t, d, &type->lines[i]);
    }
    es_json_end_array(t);
    es_json_end_object(t);
}

static void causes(struct es_text *t, const struct es_detection *d)
{
    static const char *const places[] = {"unit", "mounting", "bench"};
    es_json_array(t, "causes");
    for (size_t i = 0; i < d->cause_count; i++) {
        es_json_object(t, NULL);
        es_json_text(t, "name", d->causes[i].name);
        es_json_text(t, "meaning", d->causes[i].meaning);
        es_json_text(t, "place", places[d->causes[i].place]);
        es_json_number(t, "rate", d->causes[i].rate);
        es_json_number(t, "matters from", d->causes[i].matters);
        es_json_end_object(t);
    }
    es_json_end_array(t);
}

static void checks(struct es_text *t, const struct es_detection *d)
{
    es_json_array(t, "checks");
    for (size_t i = 0; i < d->check_count; i++) {
        es_json_object(t, NULL);
        es_json_text(t, "text", d->checks[i].text);
        es_json_text(t, "caution", d->checks[i].caution);
        es_json_number(t, "minutes", d->checks[i].minutes);
        es_json_array(t, "finds");
        for (size_t c = 0; c < d->cause_count; c++) {
            if (d->checks[i].finds >> c & 1) {
                es_json_text(t, NULL, d->causes[c].name);
            }
        }
        es_json_end_array(t);
        es_json_end_object(t);
    }
    es_json_end_array(t);
}

static void one_plan(struct es_text *t, const struct es_detection *d, const struct es_detection_plan *plan)
{
    es_json_object(t, NULL);
    es_json_text(t, "plan", plan->name);
    es_json_text(t, "version", plan->version);
    es_json_text(t, "digest", plan->digest);
    es_json_text(t, "program", plan->program);
    es_json_text(t, "seed", plan->seed);
    es_json_integer(t, "units", plan->units);
    es_json_array(t, "types");
    for (size_t i = 0; i < plan->type_count; i++) {
        one_type(t, d, &plan->types[i]);
    }
    es_json_end_array(t);
    es_json_end_object(t);
}

enum es_status es_detection_write(const struct es_detection *table, struct es_text *out, struct es_error *err)
{
    es_json_object(out, NULL);
    es_json_text(out, "endstop", "detection/2");
    causes(out, table);
    checks(out, table);
    es_json_array(out, "plans");
    for (size_t i = 0; i < table->plan_count; i++) {
        one_plan(out, table, &table->plans[i]);
    }
    es_json_end_array(out);
    es_json_end_object(out);
    es_text_char(out, '\n');
    return es_text_status(out, err);
}
