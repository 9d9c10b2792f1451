/* The client's end of the daemon's socket: requests and their replies, events in between. One thread. */
#ifndef ES_CLIENT_TALK_H
#define ES_CLIENT_TALK_H

#include "rig/base/document.h"
#include "rig/base/text.h"

#define ES_DEFAULT_SOCKET "/run/endstop/endstopd.sock"

struct es_talk;

/* Connects and says hello; `path` NULL: ENDSTOP_SOCKET, else the default; `person` NULL: the system user.
 * Advice is in err when no daemon answers. */
enum es_status es_talk_open(const char *path, const char *person, struct es_talk **out,
                            struct es_error *err) ES_MUST_CHECK;
void es_talk_close(struct es_talk *talk); /* NULL allowed */

int es_talk_fd(const struct es_talk *talk);
const cJSON *es_talk_hello(const struct es_talk *talk); /* the daemon's reply to hello */

/* The station to talk about: `wanted` (NULL: the bench's only one). *station: borrowed. */
enum es_status es_talk_station(const struct es_talk *talk, const char *wanted, const char **station,
                               struct es_error *err) ES_MUST_CHECK;

/* Begins a request {"id":N,"do":"..."; the caller adds members and hands it to es_talk_ask. */
void es_talk_begin(struct es_talk *talk, struct es_text *request, const char *what);

/* Closes the object, sends it and waits (10 s) for its reply; events that come first are kept for
 * es_talk_event. A refusal comes as the daemon's status and text. *reply: to be freed. */
enum es_status es_talk_ask(struct es_talk *talk, struct es_text *request, struct es_document **reply,
                           struct es_error *err) ES_MUST_CHECK;

/* The next event that is already here; *event NULL when there is none. Reads what the socket holds, without
 * waiting. ES_HANGUP: the daemon is gone. */
enum es_status es_talk_event(struct es_talk *talk, struct es_document **event,
                             struct es_error *err) ES_MUST_CHECK;

/* Members of a message; "" and NAN when missing. */
const char *es_member_text(const cJSON *object, const char *name);
double es_member_number(const cJSON *object, const char *name);
bool es_member_true(const cJSON *object, const char *name);
#define es_member(object, name) cJSON_GetObjectItemCaseSensitive(object, name)

/* Status of a word of es_status_word; ES_INTERNAL when unknown. */
enum es_status es_status_of_word(const char *word);

#endif
