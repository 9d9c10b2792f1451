#include "results/certificate/tree.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

void es_tree_item(struct es_tree *t, cJSON *parent, const char *name, cJSON *item)
{
    if (!item || !parent) {
        t->out_of_memory = true;
        cJSON_Delete(item);
        return;
    }
    cJSON_bool ok = name ? cJSON_AddItemToObjectCS(parent, name, item) : cJSON_AddItemToArray(parent, item);
    if (!ok) {
        t->out_of_memory = true;
        cJSON_Delete(item);
    }
}

cJSON *es_tree_object(struct es_tree *t, cJSON *parent, const char *name)
{
    cJSON *made = cJSON_CreateObject();
    es_tree_item(t, parent, name, made);
    return t->out_of_memory ? NULL : made;
}

cJSON *es_tree_array(struct es_tree *t, cJSON *parent, const char *name)
{
    cJSON *made = cJSON_CreateArray();
    es_tree_item(t, parent, name, made);
    return t->out_of_memory ? NULL : made;
}

void es_tree_text(struct es_tree *t, cJSON *parent, const char *name, const char *text)
{
    if (text) {
        es_tree_item(t, parent, name, cJSON_CreateString(text));
    }
}

void es_tree_bool(struct es_tree *t, cJSON *parent, const char *name, bool value)
{
    es_tree_item(t, parent, name, cJSON_CreateBool(value));
}

void es_tree_number(struct es_tree *t, cJSON *parent, const char *name, double value)
{
    if (isfinite(value)) {
        es_tree_item(t, parent, name, cJSON_CreateNumber(value));
    }
}

double es_round_digits(double value, int digits)
{
    if (!isfinite(value) || value == 0) {
        return value;
    }
    char text[64];
    (void)snprintf(text, sizeof text, "%.*e", digits - 1, value);
    return strtod(text, NULL);
}

double es_round_like(double value, double scale, int digits)
{
    if (!isfinite(value) || !isfinite(scale) || scale == 0) {
        return es_round_digits(value, 12);
    }
    int decimals = digits - 1 - (int)floor(log10(fabs(scale)));
    if (decimals < 0) {
        double unit = pow(10, -decimals);
        return round(value / unit) * unit;
    }
    if (decimals > 30) {
        return es_round_digits(value, 12);
    }
    char text[400]; /* the largest double has 309 digits before the point */
    (void)snprintf(text, sizeof text, "%.*f", decimals, value);
    return strtod(text, NULL);
}
