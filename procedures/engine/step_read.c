/* Steps of a procedure: one table of rows for each kind of step, and the conversion of what the rows read. */
#include <stdlib.h>
#include <string.h>

#include "procedures/engine/read.h"
#include "rig/base/nearest.h"

/* What the rows read, before names and quantities are resolved. */
struct raw_step {
    char *kind, *why, *recording, *text, *caution, *picture, *reason, *unit;
    int when, otherwise;
    bool where_fitted, and_back;
    long times, stairs;
    struct es_raw_band band;
    const cJSON *role, *where_not_fitted, *to, *from, *at, *duration, *at_most, *hold, *rate, *rate_least;
    const cJSON *through, *roles, *draw, *throughout, *along, *settled, *outputs, *options, *steps;
};

static const char *const otherwise_choices[] = {"skip the rest", "go on", "stop the run", NULL};

#define AT(member) offsetof(struct raw_step, member)
#define ROW(label, what, need, member, text)                                                                 \
    {                                                                                                        \
        .name = (label), .kind = (what), .required = (need), .offset = AT(member), .meaning = (text)         \
    }
#define ANY(label, need, member, text) ROW(label, ES_FIELD_ANY, need, member, text)
#define TEXT(label, need, member, text)                                                                      \
    {                                                                                                        \
        .name = (label), .kind = ES_FIELD_TEXT, .required = (need), .offset = AT(member), .min = 1,          \
        .max = 600, .meaning = (text)                                                                        \
    }
#define ARRAY(label, need, member, least, most, text)                                                        \
    {                                                                                                        \
        .name = (label), .kind = ES_FIELD_ARRAY, .required = (need), .offset = AT(member), .min = (least),   \
        .max = (most), .meaning = (text)                                                                     \
    }
#define COUNT(label, need, member, most, text)                                                               \
    {                                                                                                        \
        .name = (label), .kind = ES_FIELD_INTEGER, .required = (need), .offset = AT(member), .min = 1,       \
        .max = (most), .meaning = (text)                                                                     \
    }
#define COMMON                                                                                               \
    TEXT("do", true, kind, "what the step does"),                                                            \
        {.name = "when",                                                                                     \
         .kind = ES_FIELD_CHOICE,                                                                            \
         .offset = AT(when),                                                                                 \
         .choices = es_when_words,                                                                           \
         .meaning = "only for units of this kind"},                                                          \
        ROW("where fitted", ES_FIELD_BOOL, false, where_fitted, "left out on a bench without the role"),     \
        ANY("where not fitted", false, where_not_fitted, "left out on a bench with this role"),              \
        TEXT("why", false, why, "why the step is there; for the sheet on the wall")
#define OTHERWISE                                                                                            \
    {                                                                                                        \
        .name = "otherwise", .kind = ES_FIELD_CHOICE, .offset = AT(otherwise), .choices = otherwise_choices, \
        .meaning = "what happens when it does not come true"                                                 \
    }
#define ROLE          ANY("role", true, role, "the channel")
#define AT_MOST(need) ANY("at most", need, at_most, "longest time")

static const struct es_field set_rows[] = {COMMON, ROLE, ANY("to", true, to, "value or state")};
static const struct es_field ramp_rows[] = {COMMON, ROLE, ANY("to", true, to, "value at the end"),
                                            ANY("at", true, at, "how fast")};
static const struct es_field wait_rows[] = {
    COMMON,
    ROLE,
    ANY("near", false, band.near, "middle of the band, or state"),
    ANY("within", false, band.within, "half width of the band; alone: steady"),
    ANY("above", false, band.above, "least value"),
    ANY("below", false, band.below, "greatest value"),
    ANY("for", false, duration, "how long it must stay so"),
    AT_MOST(true),
    OTHERWISE,
    TEXT("reason", false, reason, "what is written when it does not")};
static const struct es_field hold_rows[] = {COMMON, ANY("for", true, duration, "how long")};
static const struct es_field record_rows[] = {
    COMMON,
    TEXT("name", true, recording, "name of the recording"),
    ARRAY("roles", true, roles, 1, 16, "channels"),
    ANY("rate", true, rate, "samples a second"),
    ANY("at least", false, rate_least, "a slower bench will do down to this rate"),
    ANY("for", false, duration, "how long, when nothing is done meanwhile"),
    ROW("until settled", ES_FIELD_OBJECT, false, settled, "until a channel has come to rest"),
    ARRAY("steps", false, steps, 1, 200, "what is done meanwhile"),
    ARRAY("throughout", false, throughout, 1, 8, "what must hold from its first sample to its last"),
    ARRAY("along", false, along, 1, 8, "channels recorded along where there, as fast as they go"),
    ARRAY("draw", false, draw, 1, 4, "channels whose curves the certificate shows")};
static const struct es_field turn_rows[] = {COMMON,
                                            ANY("to", true, to, "angle"),
                                            ANY("at", true, at, "how fast"),
                                            TEXT("text", true, text, "what is asked where there is no motor"),
                                            TEXT("caution", false, caution, "shown with the question"),
                                            AT_MOST(true)};
static const struct es_field sweep_rows[] = {
    COMMON,
    ANY("from", true, from, "angle where it begins and ends"),
    ANY("to", true, to, "angle where it turns back"),
    ANY("at", true, at, "how fast"),
    COUNT("times", true, times, 20, "round trips"),
    TEXT("text", true, text, "what is asked where there is no motor"),
    TEXT("caution", false, caution, "shown with the question"),
    AT_MOST(true)};
static const struct es_field steps_rows[] = {COMMON, ROLE, ARRAY("through", true, through, 1, 100, "values"),
                                             ANY("hold", true, hold, "time at each")};
static const struct es_field staircase_rows[] = {
    COMMON,
    ROLE,
    ANY("from", true, from, "where it begins"),
    ANY("to", true, to, "where it turns back"),
    COUNT("stairs", true, stairs, 100, "number of stairs"),
    ROW("and back", ES_FIELD_BOOL, false, and_back, "down again"),
    COUNT("times", false, times, 20, "how often"),
    ANY("hold", true, hold, "time on each stair")};
static const struct es_field vent_rows[] = {
    COMMON,
    ARRAY("outputs", true, outputs, 1, 2, "which outputs"),
    ANY("below", true, band.below, "pressure that counts as vented"),
    AT_MOST(true),
    OTHERWISE,
    TEXT("reason", false, reason, "what is written when it does not")};
static const struct es_field ask_rows[] = {COMMON,
                                           TEXT("text", true, text, "what is asked or to be done"),
                                           ARRAY("options", false, options, 2, 12, "answers to choose from"),
                                           TEXT("unit", false, unit, "unit of the number asked for"),
                                           TEXT("caution", false, caution, "shown with it"),
                                           TEXT("picture", false, picture, "file beside the procedure"),
                                           AT_MOST(true)};
static const struct es_field confirm_rows[] = {
    COMMON,
    TEXT("text", true, text, "what must be so"),
    TEXT("caution", false, caution, "shown with it"),
    TEXT("picture", false, picture, "file beside the procedure"),
    AT_MOST(true),
    OTHERWISE,
    TEXT("reason", false, reason, "what is written when it is not")};
static const struct es_field repeat_rows[] = {
    COMMON,
    COUNT("times", true, times, 1000, "how often"),
    ARRAY("steps", true, steps, 1, 200, "what is repeated"),
    ANY("at most", false, at_most, "after so long it is not begun once more"),
    OTHERWISE,
    TEXT("reason", false, reason, "what is written when that was not often enough")};
static const struct es_field skip_rows[] = {
    COMMON,
    ROLE,
    ANY("near", false, band.near, "middle of the band, or state"),
    ANY("within", false, band.within, "half width of the band"),
    ANY("above", false, band.above, "least value"),
    ANY("below", false, band.below, "greatest value"),
    TEXT("reason", true, reason, "what is written when it is not so")};

#define ROWS(table) (table), sizeof(table) / sizeof((table)[0])

static const struct {
    const char *word;
    const struct es_field *rows;
    size_t count;
} kinds[ES_STEP_KIND_COUNT] = {
    [ES_STEP_SET] = {"set", ROWS(set_rows)},
    [ES_STEP_RAMP] = {"ramp", ROWS(ramp_rows)},
    [ES_STEP_WAIT] = {"wait", ROWS(wait_rows)},
    [ES_STEP_HOLD] = {"hold", ROWS(hold_rows)},
    [ES_STEP_RECORD] = {"record", ROWS(record_rows)},
    [ES_STEP_TURN_SHAFT] = {"turn shaft", ROWS(turn_rows)},
    [ES_STEP_SWEEP_SHAFT] = {"sweep shaft", ROWS(sweep_rows)},
    [ES_STEP_STEPS] = {"step", ROWS(steps_rows)},
    [ES_STEP_STAIRCASE] = {"staircase", ROWS(staircase_rows)},
    [ES_STEP_ISOLATE_VENT] = {"isolate and vent", ROWS(vent_rows)},
    [ES_STEP_ASK] = {"ask", ROWS(ask_rows)},
    [ES_STEP_CONFIRM] = {"confirm", ROWS(confirm_rows)},
    [ES_STEP_REPEAT] = {"repeat", ROWS(repeat_rows)},
    [ES_STEP_SKIP_UNLESS] = {"skip the rest unless", ROWS(skip_rows)},
};

const char *es_step_kind_word(enum es_step_kind kind)
{
    return kinds[kind].word;
}

static void read_settled(struct es_reader *r, const cJSON *object, struct es_step *out)
{
    struct raw_step raw = {0};
    static const struct es_field rows[] = {ROLE, ANY("within", true, band.within, "width of the band"),
                                           ANY("for", true, duration, "how long within it"), AT_MOST(true)};

    if (!es_fields_read(r->doc, object, rows, sizeof rows / sizeof rows[0], &raw, r->findings))
        return;
    out->until_settled = true;
    out->role = es_read_role(r, raw.role);
    if (out->role == ES_ROLE_NONE)
        return;
    const struct es_want time = {ES_AMOUNT_VALUE, ES_ROLE_NONE, ES_DIM_TIME, true};
    es_read_amount(r, raw.band.within, (struct es_want){ES_AMOUNT_DIFFERENCE, out->role, ES_DIM_COUNT, true},
                   &out->within);
    es_read_amount(r, raw.duration, time, &out->duration);
    es_read_amount(r, raw.at_most, time, &out->at_most);
}

static void read_outputs(struct es_reader *r, const cJSON *array, struct es_step *out)
{
    const cJSON *item;

    for (item = es_first(array); item != NULL; item = item->next) {
        const char *text = cJSON_IsString(item) ? item->valuestring : "";
        if (strcmp(text, "output 1") == 0)
            out->outputs[0] = true;
        else if (strcmp(text, "output 2") == 0)
            out->outputs[1] = true;
        else
            es_document_fault(r->doc, item, r->findings, NULL, "\"output 1\" or \"output 2\"");
    }
}

static void read_list(struct es_reader *r, const cJSON *array, struct es_step *out)
{
    const cJSON *item;
    const int size = cJSON_GetArraySize(array);

    if (size <= 0)
        return;
    out->list = es_read_array(r, (size_t)size, sizeof *out->list);
    if (out->list == NULL)
        return;
    for (item = es_first(array); item != NULL; item = item->next)
        es_read_amount(r, item, (struct es_want){ES_AMOUNT_VALUE, out->role, ES_DIM_COUNT, false},
                       &out->list[out->list_count++]);
}

static void read_amounts(struct es_reader *r, const struct raw_step *raw, struct es_step *out)
{
    enum es_role role = out->role;
    if (out->kind == ES_STEP_TURN_SHAFT || out->kind == ES_STEP_SWEEP_SHAFT)
        role = ES_ROLE_SHAFT_DRIVE;
    if (out->kind == ES_STEP_ISOLATE_VENT)
        role = ES_ROLE_OUTPUT_1_PRESSURE;

    const struct es_want value = {ES_AMOUNT_VALUE, role, ES_DIM_COUNT, false};
    const struct es_want speed = {ES_AMOUNT_RATE, role, ES_DIM_COUNT, true};
    const struct es_want time = {ES_AMOUNT_VALUE, ES_ROLE_NONE, ES_DIM_TIME, true};
    const struct es_want frequency = {ES_AMOUNT_VALUE, ES_ROLE_NONE, ES_DIM_FREQUENCY, true};

    if (role != ES_ROLE_NONE) { /* a role that is unknown has been told already */
        es_read_amount(r, raw->to, value, &out->to);
        es_read_amount(r, raw->from, value, &out->from);
        struct es_condition band = {0};
        es_read_band(r, role, &raw->band, &band);
        out->near = band.near;
        out->within = band.within;
        out->above = band.above;
        out->below = band.below;
        es_read_amount(r, raw->at, speed, &out->at);
        read_list(r, raw->through, out);
    }
    es_read_amount(r, raw->duration, time, &out->duration);
    es_read_amount(r, raw->at_most, time, &out->at_most);
    es_read_amount(r, raw->hold, time, &out->hold);
    es_read_amount(r, raw->rate, frequency, &out->rate);
    es_read_amount(r, raw->rate_least, frequency, &out->rate_least);
}

/* A picture stands beside the procedure; a name with a folder in it would leave that folder. */
static void check_picture(struct es_reader *r, const cJSON *item, const struct es_step *step)
{
    if (step->picture != NULL && (strchr(step->picture, '/') != NULL || step->picture[0] == '.'))
        es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(item, "picture"), r->findings, NULL,
                          "the name of a file beside the procedure, without folder");
}

/* What the rows cannot say: which members go together. */
static void check_together(struct es_reader *r, const cJSON *item, const struct raw_step *raw,
                           const struct es_step *step)
{
    switch (step->kind) {
    case ES_STEP_WAIT:
    case ES_STEP_SKIP_UNLESS:
        es_check_band(r, item, step->role, step->kind == ES_STEP_WAIT);
        if (step->kind == ES_STEP_WAIT && raw->band.near == NULL && raw->band.within != NULL &&
            raw->duration == NULL)
            es_document_fault(r->doc, item, r->findings, "\"within\" alone, without \"for\"",
                              "how long it must be steady: \"for\"");
        break;
    case ES_STEP_RECORD:
        if ((raw->duration != NULL) + (raw->settled != NULL) + (raw->steps != NULL) != 1)
            es_document_fault(r->doc, item, r->findings, NULL,
                              "one of \"for\", \"until settled\" and \"steps\": when the recording ends");
        break;
    case ES_STEP_CONFIRM:
        check_picture(r, item, step);
        break;
    case ES_STEP_ASK:
        check_picture(r, item, step);
        if (raw->options != NULL && raw->unit != NULL)
            es_document_fault(r->doc, item, r->findings, "\"options\" and \"unit\"", "one of them");
        break;
    default:
        break;
    }
}

static void take_texts(struct raw_step *raw, struct es_step *out)
{
    out->why = raw->why;
    out->recording = raw->recording;
    out->text = raw->text;
    out->caution = raw->caution;
    out->picture = raw->picture;
    out->reason = raw->reason;
    raw->why = raw->recording = raw->text = raw->caution = raw->picture = raw->reason = NULL;
}

static void convert(struct es_reader *r, const cJSON *item, struct raw_step *raw, struct es_step *out)
{
    take_texts(raw, out);
    out->when = (enum es_when)raw->when;
    out->where_fitted = raw->where_fitted;
    out->otherwise = (enum es_otherwise)raw->otherwise;
    out->times = raw->times > 0 ? raw->times : 1;
    out->stairs = raw->stairs;
    out->and_back = raw->and_back;
    out->role = es_read_role(r, raw->role);
    out->where_not_fitted = es_read_role(r, raw->where_not_fitted);
    read_amounts(r, raw, out);
    es_read_roles(r, raw->roles, &out->roles, &out->role_count);
    es_read_roles(r, raw->draw, &out->draw, &out->draw_count);
    es_read_roles(r, raw->along, &out->along, &out->along_count);
    es_read_conditions(r, raw->throughout, &out->throughout, &out->throughout_count);
    es_read_texts(r, raw->options, &out->options, NULL);
    read_outputs(r, raw->outputs, out);
    if (raw->settled != NULL)
        read_settled(r, raw->settled, out);
    if (raw->unit != NULL) {
        out->unit = es_unit_find(raw->unit, strlen(raw->unit));
        if (out->unit == NULL)
            es_document_fault(r->doc, cJSON_GetObjectItemCaseSensitive(item, "unit"), r->findings, NULL,
                              "a unit, such as \"bar\" or \"mm\"");
    }
    check_together(r, item, raw, out);
    if (raw->steps != NULL)
        es_read_steps(r, raw->steps, &out->steps, &out->step_count);
}

static bool find_kind(struct es_reader *r, const cJSON *item, enum es_step_kind *out)
{
    const cJSON *word = cJSON_GetObjectItemCaseSensitive(item, "do");

    if (!cJSON_IsObject(item) || !cJSON_IsString(word)) {
        es_document_fault(r->doc, word != NULL ? word : item, r->findings, NULL,
                          "a step: an object whose \"do\" says what is done");
        return false;
    }
    struct es_nearest n = {.word = word->valuestring};
    for (int i = 0; i < ES_STEP_KIND_COUNT; i++) {
        if (strcmp(kinds[i].word, word->valuestring) == 0) {
            *out = (enum es_step_kind)i;
            return true;
        }
        es_nearest_offer(&n, kinds[i].word);
    }
    if (n.best != NULL)
        es_document_fault(r->doc, word, r->findings, NULL, "a kind of step; is \"%s\" meant?", n.best);
    else
        es_document_fault(r->doc, word, r->findings, NULL,
                          "a kind of step: set, ramp, wait, hold, record, turn shaft, sweep shaft, step, "
                          "staircase, isolate and vent, ask, confirm, repeat or skip the rest unless");
    return false;
}

static void read_step(struct es_reader *r, const cJSON *item, void *into)
{
    struct es_step *out = into;
    struct raw_step raw = {0};

    out->role = out->where_not_fitted = ES_ROLE_NONE;
    out->place = es_read_place(r, item);
    if (!find_kind(r, item, &out->kind))
        return;
    const struct es_field *rows = kinds[out->kind].rows;
    const size_t count = kinds[out->kind].count;
    /* Also after a fault: what could be read is checked further, so that all faults are told at once. */
    (void)es_fields_read(r->doc, item, rows, count, &raw, r->findings);
    convert(r, item, &raw, out);
    es_fields_free(rows, count, &raw);
}

void es_read_steps(struct es_reader *r, const cJSON *array, struct es_step **out, size_t *count)
{
    *out = es_read_each(r, array, sizeof **out, read_step, count);
}

static void step_clear(struct es_step *s)
{
    struct es_amount *amounts[] = {&s->to,      &s->from,  &s->at,    &s->near,
                                   &s->within,  &s->above, &s->below, &s->duration,
                                   &s->at_most, &s->hold,  &s->rate,  &s->rate_least};

    for (size_t i = 0; i < sizeof amounts / sizeof amounts[0]; i++)
        es_amount_free(amounts[i]);
    for (size_t i = 0; i < s->list_count; i++)
        es_amount_free(&s->list[i]);
    free(s->list);
    for (size_t i = 0; s->options != NULL && s->options[i] != NULL; i++)
        free(s->options[i]);
    free(s->options);
    free(s->roles);
    free(s->draw);
    free(s->along);
    es_conditions_free(s->throughout, s->throughout_count);
    free(s->why);
    free(s->recording);
    free(s->text);
    free(s->caution);
    free(s->picture);
    free(s->reason);
    es_steps_free(s->steps, s->step_count);
}

void es_steps_free(struct es_step *steps, size_t count)
{
    for (size_t i = 0; i < count; i++)
        step_clear(&steps[i]);
    free(steps);
}
