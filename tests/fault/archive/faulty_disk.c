#include "tests/fault/archive/faulty_disk.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct file {
    sqlite3_file base;
    sqlite3_file *real; /* right behind this struct */
};

static struct faulty_disk *disk;
static sqlite3_vfs *real_vfs;

static sqlite3_file *real_of(sqlite3_file *f)
{
    return ((struct file *)f)->real;
}

/* SQLITE_OK: go on; SQLITE_DONE: say done and do nothing; else the fault. */
static int before(void)
{
    bool fails = ++disk->calls == disk->at || (disk->at > 0 && disk->for_ever && disk->calls > disk->at);
    if (disk->mode == DISK_GONE) {
        return disk->at > 0 && disk->calls >= disk->at ? SQLITE_DONE : SQLITE_OK;
    }
    if (!fails) {
        return SQLITE_OK;
    }
    return disk->mode == DISK_FULL     ? SQLITE_FULL
           : disk->mode == DISK_BROKEN ? SQLITE_IOERR_WRITE
                                       : SQLITE_READONLY;
}

#define CHANGE(call)                                                                                         \
    int code = before();                                                                                     \
    return code == SQLITE_OK ? (call) : code == SQLITE_DONE ? SQLITE_OK : code

static int write_file(sqlite3_file *f, const void *bytes, int count, sqlite3_int64 at)
{
    CHANGE(real_of(f)->pMethods->xWrite(real_of(f), bytes, count, at));
}

static int truncate_file(sqlite3_file *f, sqlite3_int64 size)
{
    CHANGE(real_of(f)->pMethods->xTruncate(real_of(f), size));
}

static int sync_file(sqlite3_file *f, int flags)
{
    CHANGE(real_of(f)->pMethods->xSync(real_of(f), flags));
}

static int remove_file(sqlite3_vfs *vfs, const char *name, int sync)
{
    (void)vfs;
    CHANGE(real_vfs->xDelete(real_vfs, name, sync));
}

static int close_file(sqlite3_file *f)
{
    return real_of(f)->pMethods->xClose(real_of(f));
}

static int read_file(sqlite3_file *f, void *bytes, int count, sqlite3_int64 at)
{
    return real_of(f)->pMethods->xRead(real_of(f), bytes, count, at);
}

static int size_of_file(sqlite3_file *f, sqlite3_int64 *size)
{
    return real_of(f)->pMethods->xFileSize(real_of(f), size);
}

static int lock_file(sqlite3_file *f, int lock)
{
    return real_of(f)->pMethods->xLock(real_of(f), lock);
}

static int unlock_file(sqlite3_file *f, int lock)
{
    return real_of(f)->pMethods->xUnlock(real_of(f), lock);
}

static int check_lock(sqlite3_file *f, int *held)
{
    return real_of(f)->pMethods->xCheckReservedLock(real_of(f), held);
}

static int control(sqlite3_file *f, int what, void *value)
{
    return real_of(f)->pMethods->xFileControl(real_of(f), what, value);
}

static int sector(sqlite3_file *f)
{
    return real_of(f)->pMethods->xSectorSize(real_of(f));
}

static int characteristics(sqlite3_file *f)
{
    return real_of(f)->pMethods->xDeviceCharacteristics(real_of(f));
}

static int shm_map(sqlite3_file *f, int page, int size, int extend, void volatile **memory)
{
    return real_of(f)->pMethods->xShmMap(real_of(f), page, size, extend, memory);
}

static int shm_lock(sqlite3_file *f, int offset, int n, int flags)
{
    return real_of(f)->pMethods->xShmLock(real_of(f), offset, n, flags);
}

static void shm_barrier(sqlite3_file *f)
{
    real_of(f)->pMethods->xShmBarrier(real_of(f));
}

static int shm_unmap(sqlite3_file *f, int remove)
{
    return real_of(f)->pMethods->xShmUnmap(real_of(f), remove);
}

static const sqlite3_io_methods methods = {.iVersion = 2,
                                           .xClose = close_file,
                                           .xRead = read_file,
                                           .xWrite = write_file,
                                           .xTruncate = truncate_file,
                                           .xSync = sync_file,
                                           .xFileSize = size_of_file,
                                           .xLock = lock_file,
                                           .xUnlock = unlock_file,
                                           .xCheckReservedLock = check_lock,
                                           .xFileControl = control,
                                           .xSectorSize = sector,
                                           .xDeviceCharacteristics = characteristics,
                                           .xShmMap = shm_map,
                                           .xShmLock = shm_lock,
                                           .xShmBarrier = shm_barrier,
                                           .xShmUnmap = shm_unmap};

static int open_file(sqlite3_vfs *vfs, const char *name, sqlite3_file *f, int flags, int *out)
{
    struct file *file = (struct file *)f;
    (void)vfs;
    file->real = (sqlite3_file *)(file + 1);
    file->base.pMethods = NULL;
    int code = real_vfs->xOpen(real_vfs, name, file->real, flags, out);
    if (code == SQLITE_OK) {
        file->base.pMethods = &methods;
    }
    return code;
}

void faulty_disk_install(struct faulty_disk *faulty)
{
    static sqlite3_vfs ours;
    disk = faulty;
    if (real_vfs) {
        return;
    }
    real_vfs = sqlite3_vfs_find(NULL);
    ours = *real_vfs;
    ours.pNext = NULL;
    ours.zName = "faulty";
    ours.szOsFile = (int)sizeof(struct file) + real_vfs->szOsFile;
    ours.xOpen = open_file;
    ours.xDelete = remove_file;
    if (sqlite3_vfs_register(&ours, 1) != SQLITE_OK) {
        (void)fprintf(stderr, "the faulty disk was not taken\n");
        abort();
    }
}
