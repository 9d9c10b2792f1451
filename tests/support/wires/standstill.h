/* Did this machine stand still? A thread that wants to wake every millisecond and notes by how much it came
 * too late. For tests whose promise holds only while the other end of the wire gets its turn: they repeat
 * what happened during a standstill, and stay strict about everything else. */
#ifndef ES_TESTS_STANDSTILL_H
#define ES_TESTS_STANDSTILL_H

struct standstill;

struct standstill *standstill_watch(void); /* ends the test program when the system refuses */
/* The longest standstill so far, s. Any thread. */
double standstill_longest(struct standstill *s);
void standstill_stop(struct standstill *s); /* frees */

#endif
