/* What "endstop measure" was asked for, turned into the arguments of a measure: columns, settings, facts. */
#ifndef ES_CLIENT_MEASURE_ORDER_H
#define ES_CLIENT_MEASURE_ORDER_H

#include "procedures/measures/csv_trace.h"
#include "procedures/measures/measure.h"
#include "rig/base/findings.h"
#include "rig/console/options.h"

#define ES_ORDER_FACTS 16

struct es_measure_order {
    const struct es_measure *measure;
    void *settings;                        /* read by the measure's rows */
    struct es_document *settings_document; /* settings may borrow from it */
    struct es_csv_column columns[ES_CSV_MAX_COLUMNS];
    char *column_names[ES_CSV_MAX_COLUMNS]; /* owned */
    size_t column_count;
    struct es_fact facts[ES_ORDER_FACTS];
    char *fact_names[ES_ORDER_FACTS]; /* owned */
    size_t fact_count;
};

/* ES_NOT_FOUND with the nearest name. */
enum es_status es_measure_order_find(const char *name, const struct es_measure **out,
                                     struct es_error *err) ES_MUST_CHECK;

/* `columns`: "ROLE=COLUMN", "ROLE=COLUMN [UNIT]" or "time=COLUMN"; `uncertainties`: "ROLE=QUANTITY",
 * standard, of the channel's offset; `sets`: "SETTING=VALUE"; `facts`: "NAME=QUANTITY" or "NAME=QUANTITY +-
 * QUANTITY" (expanded, k = 2). Faults of settings go to `findings`. Free in every case. */
enum es_status es_measure_order_read(const char *measure, const struct es_option_list *columns,
                                     const struct es_option_list *uncertainties,
                                     const struct es_option_list *sets, const struct es_option_list *facts,
                                     struct es_measure_order *order, struct es_findings *findings,
                                     struct es_error *err) ES_MUST_CHECK;
void es_measure_order_free(struct es_measure_order *order);

#endif
