/* A disk under SQLite that fails at a chosen call: for tests of the archive. */
#ifndef ES_TESTS_ARCHIVE_FAULTY_DISK_H
#define ES_TESTS_ARCHIVE_FAULTY_DISK_H

#include <stdbool.h>

enum faulty_disk_mode {
    DISK_SOUND,
    DISK_FULL,      /* the call fails with SQLITE_FULL */
    DISK_BROKEN,    /* with an input/output error */
    DISK_READ_ONLY, /* with SQLITE_READONLY */
    DISK_GONE       /* from that call on nothing reaches the disk any more, and all says "done": the machine
                       lost its power */
};

struct faulty_disk {
    enum faulty_disk_mode mode;
    long at;       /* the call that fails: a write, a sync, a truncation or a removal; 0: none */
    bool for_ever; /* and all after it */
    long calls;    /* so far */
};

/* Registers it as SQLite's default; the same struct is looked at by every connection opened from then on. */
void faulty_disk_install(struct faulty_disk *disk);

#endif
