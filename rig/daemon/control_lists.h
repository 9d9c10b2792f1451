/* Replies from the state folder and the library: runs, certificates, plans. Lists come in pages. */
#ifndef ES_DAEMON_CONTROL_LISTS_H
#define ES_DAEMON_CONTROL_LISTS_H

#include "results/store/store.h"
#include "rig/daemon/protocol.h"

/* Entries of one page; "more": true says that there is another. */
#define ES_PAGE 200

enum es_status es_control_runs(struct es_store *store, const struct es_request_line *r, struct es_text *out,
                               struct es_error *err) ES_MUST_CHECK;
enum es_status es_control_certificates(struct es_store *store, const struct es_request_line *r,
                                       struct es_text *out, struct es_error *err) ES_MUST_CHECK;
/* The bytes as signed, as a JSON string: a number written again would break the signature. */
enum es_status es_control_certificate(struct es_store *store, const struct es_request_line *r,
                                      struct es_text *out, struct es_error *err) ES_MUST_CHECK;
/* Are plan and type of a request there? ES_NOT_FOUND tells both, with what there is. */
enum es_status es_control_find(const char *library, const char *types, const struct es_request_line *r,
                               struct es_error *err) ES_MUST_CHECK;
/* Names of what can be run. */
enum es_status es_control_plans(const char *library, const char *types, const struct es_request_line *r,
                                struct es_text *out, struct es_error *err) ES_MUST_CHECK;

#endif
