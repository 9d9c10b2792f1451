/* What an exported recording says of itself in lines before its table, so that it can be measured again as it
 * was: that its times count from the recording's beginning, how long it was, and what was written to the
 * bench. # recording; 20.5 # write; loop demand; 5.0002; 0.0005; 0.004; 0.012 Times in s (of a write: when,
 * standard uncertainty); from and to in the coherent unit, "-" where from is not known. Other lines that
 * begin with "#" are text. Pure. */
#ifndef ES_MEASURES_CSV_NOTES_H
#define ES_MEASURES_CSV_NOTES_H

#include "procedures/measures/csv_reader.h"

#define ES_CSV_NOTE_RECORDING "# recording;"
#define ES_CSV_NOTE_WRITE     "# write;"

/* The text is an exported recording. */
bool es_csv_is_noted(const char *text, size_t length);

/* Takes duration and writes into r->trace; faults with their place. False when out of memory. */
bool es_csv_take_notes(struct es_csv_reader *r);

#endif
