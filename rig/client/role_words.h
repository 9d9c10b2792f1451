/* States of a bench in words: what 0 and 1 of a role mean to a person. Pure. */
#ifndef ES_CLIENT_ROLE_WORDS_H
#define ES_CLIENT_ROLE_WORDS_H

/* "open", "shut", "on", "off", "healthy", "pressed" ...; NULL when the role is no state, or is not known. */
const char *es_role_state_word(const char *role, double value);

#endif
