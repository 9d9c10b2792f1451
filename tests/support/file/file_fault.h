/* File calls of which one, or all from one on, fail: for tests. */
#ifndef ES_TESTS_FILE_FAULT_H
#define ES_TESTS_FILE_FAULT_H

#include "rig/base/file.h"

struct file_fault {
    long countdown; /* the call that fails; 0: none */
    bool for_ever;  /* and all after it */
    int errnum;
    long calls; /* so far */
    struct es_file_ops ops;
};

/* Sets ops up; a failing write first takes a part, as a full disk does. */
void file_fault_init(struct file_fault *fault, long countdown, bool for_ever, int errnum);

#endif
