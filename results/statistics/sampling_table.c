/* ISO 2859-1:1999 Tables 1 and 2-A by their build: letter by letter the sample grows and column by column the
 * quality, both in the same ratio, so that the acceptance number depends on the sum of row and column. */
#include <math.h>

#include "results/statistics/sampling.h"

static const char letters[] = "ABCDEFGHJKLMNPQR";
static const size_t sizes[] = {2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000};
#define LETTERS 16

static const double qualities[] = {0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25,
                                   0.40,  0.65,  1.0,   1.5,   2.5,   4.0,  6.5,  10};
#define QUALITIES 16

/* Largest lot of each row of Table 1, and its letters at levels I, II and III. */
static const struct {
    size_t largest;
    char letter[4];
} lots[] = {{8, "AAB"},     {15, "ABC"},    {25, "BCD"},     {50, "CDE"},     {90, "CEF"},
            {150, "DFG"},   {280, "EGH"},   {500, "FHJ"},    {1200, "GJK"},   {3200, "HKL"},
            {10000, "JLM"}, {35000, "KMN"}, {150000, "LNP"}, {500000, "MPQ"}, {(size_t)-1, "NQR"}};

/* Ac along row + column - 14: 0, then an arrow up, an arrow down, then these; beyond the last an arrow up. */
static const size_t accepts[] = {1, 2, 3, 5, 7, 10, 14, 21};
#define ACCEPTS 8
#define ZERO_AT 14

static size_t row_of(char letter)
{
    size_t row = 0;
    while (letters[row] != letter)
        row++;
    return row;
}

/* The row where Ac stands after following the table's arrows. */
static size_t follow(size_t row, size_t column, size_t *accept)
{
    size_t sum = row + column, down = row + ZERO_AT + 3 - sum;
    *accept = 0;
    if (sum <= ZERO_AT)
        return ZERO_AT - column; /* down to the first row with a plan */
    if (sum < ZERO_AT + 3 && (sum == ZERO_AT + 1 || down >= LETTERS) && row >= sum - ZERO_AT)
        return row - (sum - ZERO_AT); /* up to Ac 0 */
    if (sum < ZERO_AT + 3) {
        *accept = accepts[0]; /* down to Ac 1 */
        return down;
    }
    if (sum < ZERO_AT + 3 + ACCEPTS) {
        *accept = accepts[sum - ZERO_AT - 3];
        return row;
    }
    *accept = accepts[ACCEPTS - 1]; /* up to the last */
    return row - (sum - (ZERO_AT + 2 + ACCEPTS));
}

enum es_status es_sampling_iso2859(size_t lot, enum es_inspection_level level, double aql,
                                   struct es_sampling_plan *plan, struct es_error *err)
{
    size_t line = 0, column = 0, accept;
    if (lot < 2)
        return es_fail(err, ES_RANGE, "a lot to sample from has at least 2 units, not %zu", lot);
    while (lot > lots[line].largest)
        line++;
    while (column < QUALITIES && !(fabs(aql - qualities[column]) < 1e-9 * aql))
        column++;
    if (column == QUALITIES)
        return es_fail(
            err, ES_RANGE,
            "%g %% is no AQL of ISO 2859-1; choose 0.010, 0.015, 0.025, 0.040, 0.065, these times 10 or "
            "100, or 10",
            aql);
    size_t row = follow(row_of(lots[line].letter[level]), column, &accept);
    *plan = (struct es_sampling_plan){.letter = letters[row], .n = sizes[row], .accept = accept};
    if (plan->n >= lot) {
        plan->n = lot;
        plan->whole_lot = true;
    }
    return ES_OK;
}
