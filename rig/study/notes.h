/* What is known of a fault apart from its physics: from which severity it matters in service, how often it is
 * met, how it is checked by hand. Figures are this project's own assumptions, stated in docs/study.md; the
 * workshop's confirmed repairs replace the rates. */
#ifndef ES_STUDY_NOTES_H
#define ES_STUDY_NOTES_H

#include <stddef.h>

struct es_fault_note {
    const char *fault;   /* of the virtual bench */
    double matters;      /* severity from which it would matter in service; 0: any */
    const char *because; /* why from there */
    double rate;         /* assumed share of tested units that have it at a severity that matters */
};

/* NULL when the fault has none. Static. */
const struct es_fault_note *es_fault_note(const char *fault);

/* A check by hand that tells causes apart. */
struct es_check_note {
    const char *text;    /* what to do */
    const char *caution; /* what goes with it */
    double minutes;      /* that it takes */
    const char *finds;   /* faults that it shows, "|" between them */
};

const struct es_check_note *es_check_notes(size_t *count);

#endif
