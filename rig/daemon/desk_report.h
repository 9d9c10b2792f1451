/* What a desk tells, as JSON objects (grammar: docs/daemon-protocol.md). Pure. */
#ifndef ES_DAEMON_DESK_REPORT_H
#define ES_DAEMON_DESK_REPORT_H

#include "procedures/engine/port.h"
#include "rig/base/findings.h"
#include "rig/base/text.h"
#include "rig/bench/safe_state.h"

void es_safe_report_json(struct es_text *out, const char *name, const struct es_safe_report *report);
void es_report_event(struct es_text *out, const struct es_event *event);
/* `name` NULL: as an event of its own; else as a member. */
void es_report_question(struct es_text *out, const char *name, long number, const struct es_question *q);
void es_report_values(struct es_text *out, const struct es_bench_station *station,
                      const struct es_reading *by_role);
void es_report_findings(struct es_text *out, const struct es_findings *findings);

const char *es_question_kind_word(enum es_question_kind kind);
const char *es_quality_word(enum es_quality quality);

#endif
