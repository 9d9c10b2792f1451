/* Stands in for rig/bench's live station and runtime, so that the daemon's rooms can be tried without a bus
 * in milliseconds and with scripts that no real station would play. What a run does is told by its serial
 * number:
 *
 *   "pass"      some events, then a passing line      "hang"    until it is stopped
 *   "ask"       one confirmation                      "flood"   10000 events at once
 *   "lost"      its recordings could not be kept
 *   "refuse"    its check finds two faults            "tarry"   its check takes half a second
 */
#ifndef ES_TEST_FAKE_STATION_H
#define ES_TEST_FAKE_STATION_H

#include "rig/bench/station.h"

/* The one bench of these tests: station "1" with two channels. Static. */
const struct es_bench *fake_bench(void);
struct es_live *fake_live(void);

/* How many journals were dropped since the program began. */
int fake_settled(void);

/* How long making safe takes, s. */
void fake_safe_takes(double seconds);

#endif
