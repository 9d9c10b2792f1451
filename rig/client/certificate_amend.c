#include "rig/client/certificate_amend.h"

#include <string.h>

#include "results/certificate/amend.h"
#include "rig/client/talk.h"
#include "rig/console/json_writer.h"

struct change {
    enum es_amend what;
    const char *text;
};

static enum es_status read_set(const char *set, struct change *out, struct es_error *err)
{
    char word[64];
    const char *sign = strchr(set, '=');
    size_t length = sign != NULL ? (size_t)(sign - set) : 0;
    if (sign == NULL || sign[1] == '\0' || length >= sizeof word)
        return es_fail(err, ES_USAGE,
                       "--set takes WHAT=TEXT, such as \"customer=Example Quarry\", not \"%.80s\"", set);
    memcpy(word, set, length);
    word[length] = '\0';
    out->text = sign + 1;
    return es_amend_find(word, &out->what, err);
}

static enum es_status write_sets(const struct es_amend_order *o, struct es_text *request,
                                 struct es_error *err)
{
    bool seen[ES_AMEND_COUNT] = {false};
    for (size_t i = 0; i < o->set_count; i++) {
        struct change change;
        enum es_status s = read_set(o->sets[i], &change, err);
        if (s != ES_OK)
            return s;
        if (seen[change.what])
            return es_fail(err, ES_USAGE, "--set \"%s=...\" is given twice", es_amend_word(change.what));
        seen[change.what] = true;
        es_json_text(request, es_amend_word(change.what), change.text);
    }
    return ES_OK;
}

enum es_status es_certificate_ask_amend(const struct es_amend_order *o, FILE *to, struct es_error *err)
{
    struct es_talk *talk = NULL;
    struct es_text request = {0};
    struct es_document *reply = NULL;
    if (o->number == NULL || o->because == NULL || o->set_count == 0)
        return es_fail(err, ES_USAGE,
                       "amend takes a certificate's number, --because TEXT and what is right: "
                       "--set \"customer=Example Quarry\"");
    enum es_status s = es_talk_open(o->socket, o->person, &talk, err);
    if (s != ES_OK)
        return s;
    es_talk_begin(talk, &request, "amend");
    es_json_text(&request, "number", o->number);
    es_json_text(&request, "because", o->because);
    s = write_sets(o, &request, err);
    if (s == ES_OK)
        s = es_talk_ask(talk, &request, &reply, err);
    if (s == ES_OK)
        fprintf(to,
                "%s is issued: it amends %s, which stays as it is and is out of force now. Test, values and "
                "verdict are the same; a release has to be given anew.\n",
                es_member_text(es_document_root(reply), "number"), o->number);
    es_document_free(reply);
    es_text_free(&request);
    es_talk_close(talk);
    return s;
}
