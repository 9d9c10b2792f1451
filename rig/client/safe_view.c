#include <math.h>
#include <string.h>

#include "rig/client/safe_view.h"
#include "rig/client/talk.h"
#include "rig/console/display.h"

void es_safe_view_print(const cJSON *safe, const struct es_screen *screen, FILE *to)
{
    if (safe == NULL)
        return;
    bool reached = es_member_true(safe, "reached");
    double seconds = es_member_number(safe, "seconds"), allowed = es_member_number(safe, "allowed");
    struct es_text text = {0}, clean = {0};
    const char *sentence = es_member_text(safe, "sentence");
    if (!reached && sentence[0] == '\0')
        es_text_add(&text, "On its way to the safe state: do not reach in.");
    else if (reached && !isnan(seconds))
        es_text_printf(&text, "Safe state: reached %.2f s after its cause (allowed %.2f s). ", seconds,
                       allowed);
    else
        es_text_add(&text, "SAFE STATE NOT REACHED. ");
    es_text_add(&text, sentence);
    if (text.bytes != NULL)
        es_text_visible(&clean, text.bytes, text.length);
    if (clean.bytes != NULL)
        es_display_wrap(clean.bytes, 0, screen->width, to);
    es_text_free(&clean);
    es_text_free(&text);
}
