/* Whose signatures these are, and whether the keys count: for this role, at that time. */
#include <stdio.h>
#include <string.h>

#include "results/certificate/verify_parts.h"

#define TO_THE_SECOND (sizeof "2026-02-03T10:11:12" - 1)

static bool is_role(const struct es_certificate_signature *s, const char *role)
{
    return strcmp(s->role, role) == 0;
}

static const struct es_trusted_key *find_key(const struct es_check *c, const char *kid)
{
    for (size_t i = 0; i < c->trusted_count; i++) {
        if (strcmp(c->trusted[i].key.thumbprint, kid) == 0) {
            return &c->trusted[i];
        }
    }
    return NULL;
}

/* Whether `word` is one of the words of `list`. */
static bool names_role(const char *list, const char *word)
{
    size_t length = strlen(word);
    while (list && *list) {
        size_t n = strcspn(list, " ");
        if (n == length && memcmp(list, word, n) == 0) {
            return true;
        }
        list += n + strspn(list + n, " ");
    }
    return false;
}

static int compare_times(const char *a, const char *b)
{
    return strncmp(a, b, TO_THE_SECOND);
}

enum es_certificate_finding es_trusted_key_counts(const struct es_trusted_key *t, const char *role,
                                                  const char *time, char why[static ES_DOUBT_MAX])
{
    why[0] = 0;
    if (t->revoked && compare_times(time, t->revoked) >= 0) {
        (void)snprintf(why, ES_DOUBT_MAX, "that key is revoked from %s on%s%.80s", t->revoked,
                       t->because ? ": " : "", t->because ? t->because : "");
        return ES_CERTIFICATE_REVOKED;
    }
    if (t->until && compare_times(time, t->until) >= 0) {
        (void)snprintf(why, ES_DOUBT_MAX, "that key was replaced by another on %s", t->until);
        return ES_CERTIFICATE_REVOKED;
    }
    if (t->from && compare_times(time, t->from) < 0) {
        (void)snprintf(why, ES_DOUBT_MAX, "that key was made only on %s", t->from);
        return ES_CERTIFICATE_REVOKED;
    }
    if (t->roles && !names_role(t->roles, role)) {
        (void)snprintf(why, ES_DOUBT_MAX, "that key is trusted for \"%.60s\" only", t->roles);
        return ES_CERTIFICATE_WRONG_ROLE;
    }
    return ES_CERTIFICATE_VALID;
}

/* What is odd about a person's signature, apart from its key. */
static void look_at_person(const struct es_check *c, const struct es_certificate_signature *issuer,
                           struct es_certificate_signature *s)
{
    char ran[104];
    struct es_span run = es_members_find(&c->root, "run");
    const char *cursor = NULL;
    struct es_span name;
    struct es_span value;
    if (is_role(s, ES_ROLE_OF_RELEASE)) {
        while (run.at && *run.at == '{' && es_span_next(run, &cursor, &name, &value)) {
            if (es_span_is(name, "person") && es_span_text(value, ran, sizeof ran) &&
                strcmp(ran, s->name) == 0) {
                (void)snprintf(s->doubt, sizeof s->doubt, "the person who ran the test cannot release it");
            }
        }
    }
    if (compare_times(s->time, issuer->time) < 0) {
        (void)snprintf(s->doubt, sizeof s->doubt, "it is older than the certificate");
    }
}

static void look_at_others(struct es_check *c, const struct es_certificate_signature *issuer)
{
    for (size_t i = 0; i < c->report->signature_count; i++) {
        struct es_certificate_signature *s = &c->report->signatures[i];
        const struct es_trusted_key *t = find_key(c, s->kid);
        if (s == issuer) {
            continue;
        }
        if (!t) {
            (void)snprintf(s->doubt, sizeof s->doubt, "that key is not among those you trust");
        } else {
            (void)es_trusted_key_counts(t, s->role, s->time, s->doubt);
        }
        look_at_person(c, issuer, s);
        s->trusted = s->doubt[0] ? NULL : t;
    }
}

/* The entry by which the issuing key signed as such; NULL and the finding set when it did not. */
static struct es_certificate_signature *find_issuer(struct es_check *c)
{
    struct es_certificate_report *r = c->report;
    struct es_certificate_signature *issuer = NULL;
    char key[ES_THUMBPRINT_SIZE] = "";
    const char *cursor = NULL;
    struct es_span name;
    struct es_span value;
    while (es_span_next(es_members_find(&c->root, "issuer"), &cursor, &name, &value)) {
        if (es_span_is(name, "key") && !es_span_text(value, key, sizeof key)) {
            key[0] = 0;
        }
    }
    for (size_t i = 0; i < r->signature_count; i++) {
        struct es_certificate_signature *s = &r->signatures[i];
        bool is_issuer = strcmp(s->kid, key) == 0;
        if (is_role(s, ES_ROLE_OF_BENCH) != is_issuer) {
            (void)es_found(r, ES_CERTIFICATE_NOT_SIGNED,
                           "Not signed by its issuer: key %s signed as \"%s\", but the issuing key is %s.",
                           s->kid, s->role, key[0] ? key : "none that can be read");
            return NULL;
        }
        issuer = is_issuer ? s : issuer;
    }
    if (!issuer) {
        (void)es_found(r, ES_CERTIFICATE_NOT_SIGNED,
                       "Not signed by its issuer: the signature of key %s is missing.", key);
    }
    return issuer;
}

static bool check_issuer(struct es_check *c, struct es_certificate_signature *issuer)
{
    struct es_certificate_report *r = c->report;
    const struct es_trusted_key *t = find_key(c, issuer->kid);
    if (!t && c->trusted_count == 1) {
        return es_found(
            r, ES_CERTIFICATE_OTHER_KEY,
            "Signed by another key: the content is as signed by key %s, but the key that you trust is %s.",
            issuer->kid, c->trusted[0].key.thumbprint);
    }
    if (!t) {
        return es_found(
            r, ES_CERTIFICATE_UNKNOWN_KEY,
            "Key unknown: the content is as signed by key %s, which is not among the %zu keys that "
            "you trust. Anyone can make a key: get its public half from the issuer by a way that "
            "you trust.",
            issuer->kid, c->trusted_count);
    }
    enum es_certificate_finding f = es_trusted_key_counts(t, issuer->role, issuer->time, issuer->doubt);
    if (f == ES_CERTIFICATE_VALID) {
        issuer->trusted = t;
        return true;
    }
    return es_found(r, f, "%s: the content is as signed by key %s on %s, but %s.",
                    f == ES_CERTIFICATE_REVOKED ? "Key not in force" : "Key not for this", issuer->kid,
                    issuer->time, issuer->doubt);
}

static const struct es_certificate_signature *find_trusted_role(const struct es_certificate_report *r,
                                                                const char *role)
{
    for (size_t i = 0; i < r->signature_count; i++) {
        if (r->signatures[i].trusted && is_role(&r->signatures[i], role)) {
            return &r->signatures[i];
        }
    }
    return NULL;
}

static void tell_valid(const struct es_check *c, const struct es_certificate_signature *issuer)
{
    struct es_certificate_report *r = c->report;
    const struct es_certificate_signature *release = find_trusted_role(r, ES_ROLE_OF_RELEASE);
    char number[64] = "it";
    const char *name = issuer->trusted->name;
    (void)es_span_text(es_members_find(&c->root, "number"), number, sizeof number);
    r->finding = ES_CERTIFICATE_VALID;
    int n = snprintf(r->text, sizeof r->text, "Valid: %.80s is as signed by key %s%s%.80s%s on %s", number,
                     issuer->kid, name ? " (" : "", name ? name : "", name ? ")" : "", issuer->time);
    size_t used = n > 0 && (size_t)n < sizeof r->text ? (size_t)n : 0;
    if (release) {
        (void)snprintf(r->text + used, sizeof r->text - used, ", and released by %s on %s.", release->name,
                       release->time);
    } else {
        (void)snprintf(r->text + used, sizeof r->text - used, "; not released.");
    }
}

void es_check_trust(struct es_check *c)
{
    struct es_certificate_signature *issuer = find_issuer(c);
    if (!issuer || !check_issuer(c, issuer)) {
        return;
    }
    look_at_others(c, issuer);
    const struct es_certificate_signature *taken = find_trusted_role(c->report, ES_ROLE_OF_VOID);
    if (taken) {
        (void)es_found(c->report, ES_CERTIFICATE_VOID,
                       "Void: as signed, but %s took it out of force on %s: %s.", taken->name, taken->time,
                       taken->reason);
        return;
    }
    tell_valid(c, issuer);
}
