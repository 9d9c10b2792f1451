/* What drivers share that ask an instrument and are answered: who answers, and when the value was taken.
 * No threads of its own: call from the bus's thread. */
#ifndef ES_DRIVERS_EXCHANGE_H
#define ES_DRIVERS_EXCHANGE_H

#include "drivers/driver.h"

#define ES_IDENTITY_SIZE 128

/* Nothing is read from an instrument in doubt; it is identified first. */
struct es_identity {
    bool doubted; /* set when created, and after whatever may have put another answer in its place */
    bool known_once;
    char text[ES_IDENTITY_SIZE];
};

/* Whoever answers now is the one from now on. */
void es_identity_take(struct es_identity *who, const char *text);
/* It must be the one that it was; ES_GARBLED, and still in doubt, when another answers. `name`: the
 * instrument's, for the message. */
enum es_status es_identity_confirm(struct es_identity *who, const char *name, const char *text,
                                   struct es_error *err) ES_MUST_CHECK;

/* Taken at some moment of the exchange, each as likely as the other (JCGM 100, 4.3.7: rectangular). */
struct es_stamp es_stamp_between(es_time begun, es_time ended);

#endif
