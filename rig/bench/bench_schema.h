/* JSON Schema (2020-12) and reference tables of the bench file, from the same rows that read it. */
#ifndef ES_BENCH_BENCH_SCHEMA_H
#define ES_BENCH_BENCH_SCHEMA_H

#include "rig/base/text.h"

/* docs/schema/bench-1.schema.json. Drivers' settings come from their own rows. */
enum es_status es_bench_schema(struct es_text *out, struct es_error *err) ES_MUST_CHECK;

/* The tables of docs/bench-file.md: every object, every driver, every role. */
enum es_status es_bench_reference(struct es_text *out, struct es_error *err) ES_MUST_CHECK;

#endif
