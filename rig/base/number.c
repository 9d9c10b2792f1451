#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/number.h"

int es_number_place(double U)
{
    char text[32];
    snprintf(text, sizeof text, "%.1e", U); /* d.de+XX: two digits, correctly rounded */
    return 1 - (int)strtol(strchr(text, 'e') + 1, NULL, 10);
}

/* "-0.00" says a sign that the digits do not carry. */
static void drop_empty_sign(char *text)
{
    if (text[0] == '-' && strspn(text + 1, "0.") == strlen(text + 1))
        memmove(text, text + 1, strlen(text));
}

void es_number_round(double value, int decimals, char out[static ES_NUMBER_SIZE])
{
    if (!isfinite(value)) {
        snprintf(out, ES_NUMBER_SIZE, "no value");
        return;
    }
    if (fabs(value) >= 1e15 || decimals > 15) {
        snprintf(out, ES_NUMBER_SIZE, "%.6g", value);
        return;
    }
    if (decimals >= 0) {
        snprintf(out, ES_NUMBER_SIZE, "%.*f", decimals, value);
    } else {
        double place = pow(10, -decimals);
        snprintf(out, ES_NUMBER_SIZE, "%.0f", nearbyint(value / place) * place);
    }
    drop_empty_sign(out);
}

void es_number_with_uncertainty(double value, double U, int fallback_decimals, struct es_number_text *out)
{
    if (isfinite(U) && U > 0) {
        out->decimals = es_number_place(U);
        es_number_round(U, out->decimals, out->U);
    } else {
        out->decimals = fallback_decimals;
        out->U[0] = '\0';
    }
    es_number_round(value, out->decimals, out->value);
}

bool es_number_uneven(double value, double low, double high, int decimals, char above[static ES_NUMBER_SIZE],
                      char below[static ES_NUMBER_SIZE])
{
    if (!isfinite(value) || !isfinite(low) || !isfinite(high))
        return false;
    es_number_round(high - value, decimals, above);
    es_number_round(value - low, decimals, below);
    return strcmp(above, below) != 0;
}

void es_number_limit(double value, char out[static ES_NUMBER_SIZE])
{
    if (!isfinite(value))
        snprintf(out, ES_NUMBER_SIZE, "none");
    else
        snprintf(out, ES_NUMBER_SIZE, "%.6g", value);
    drop_empty_sign(out);
}

void es_number_duration(double seconds, char out[static ES_NUMBER_SIZE])
{
    if (!isfinite(seconds) || seconds < 0 || seconds > 1e8) {
        snprintf(out, ES_NUMBER_SIZE, "?");
        return;
    }
    long whole = lround(seconds);
    if (whole >= 3600)
        snprintf(out, ES_NUMBER_SIZE, "%ld h %02ld min", whole / 3600, whole % 3600 / 60);
    else if (whole >= 60)
        snprintf(out, ES_NUMBER_SIZE, "%ld min %02ld s", whole / 60, whole % 60);
    else
        snprintf(out, ES_NUMBER_SIZE, "%ld s", whole);
}
