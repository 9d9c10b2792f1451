#include "drivers/exchange.h"

#include <stdio.h>
#include <string.h>

void es_identity_take(struct es_identity *who, const char *text)
{
    snprintf(who->text, sizeof who->text, "%s", text);
    who->known_once = true;
    who->doubted = false;
}

enum es_status es_identity_confirm(struct es_identity *who, const char *name, const char *text,
                                   struct es_error *err)
{
    if (who->known_once && strcmp(text, who->text) != 0) {
        who->doubted = true;
        return es_fail(err, ES_GARBLED,
                       "%s: another instrument answers: \"%s\" instead of \"%s\". Identify it anew", name,
                       text, who->text);
    }
    es_identity_take(who, text);
    return ES_OK;
}

struct es_stamp es_stamp_between(es_time begun, es_time ended)
{
    const double half = es_seconds(ended - begun) / 2;
    return (struct es_stamp){.taken = begun + (ended - begun) / 2, .u_time = half * 0.5773502691896258};
}
