/* Journal and recording files: what is written comes back, whatever is cut off or damaged. */
#include <criterion/criterion.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rig/base/digest.h"
#include "rig/bench/journal.h"
#include "rig/bench/recording_file.h"

struct seen {
    size_t kinds[16];
    double last_value;
    size_t values;
    char text[128];
};

static enum es_status visit(void *self, const struct es_journal_record *r, struct es_error *err)
{
    struct seen *s = self;
    (void)err;
    s->kinds[r->kind]++;
    if (r->kind == ES_JOURNAL_SCAN) {
        s->values += r->count;
        s->last_value = r->values[r->count - 1].value;
        cr_expect_eq(r->u_time, 1e-4);
        cr_expect_eq(r->values[0].role, ES_ROLE_SUPPLY_PRESSURE);
        cr_expect_eq(r->values[1].quality, ES_OUT_OF_RANGE);
    }
    if (r->kind == ES_JOURNAL_WRITE) {
        cr_expect_eq(r->write.role, ES_ROLE_LOOP_DEMAND);
        cr_expect_eq(r->write.to, 0.012);
        cr_expect_eq(r->write.status, ES_TIMEOUT);
    }
    if (r->kind == ES_JOURNAL_RECORDING) {
        cr_expect_str_eq(r->text, "step");
        cr_expect_eq(r->count, 2);
        cr_expect_eq(r->roles[1], ES_ROLE_TRAVEL);
    }
    if (r->kind == ES_JOURNAL_END) {
        snprintf(s->text, sizeof s->text, "%s", r->text);
    }
    return ES_OK;
}

static void fill(struct es_journal *j, size_t scans)
{
    static const enum es_role roles[] = {ES_ROLE_SUPPLY_PRESSURE, ES_ROLE_TRAVEL};
    es_journal_recording(j, 5, "step", roles, 2);
    for (size_t i = 0; i < scans; i++) {
        struct es_journal_value v[] = {{ES_ROLE_SUPPLY_PRESSURE, ES_GOOD, 4e5},
                                       {ES_ROLE_TRAVEL, ES_OUT_OF_RANGE, (double)i}};
        es_journal_scan(j, (es_time)i * 1000, 1e-4, v, 2);
    }
    struct es_journal_write w = {ES_ROLE_LOOP_DEMAND, ES_TIMEOUT, 0.004, 0.012};
    es_journal_write(j, 77, &w);
}

static void make_folder(char *folder)
{
    strcpy(folder, "/tmp/endstop-test-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
}

static void remove_folder(const char *folder)
{
    char command[128];
    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    cr_assert_eq(system(command), 0);
}

Test(journal, comes_back_whole)
{
    char folder[64], path[128];
    struct es_error err = {0};
    struct es_journal *j;
    struct seen s = {0};
    bool damaged = true;
    size_t whole;
    make_folder(folder);
    cr_assert_eq(es_journal_open(NULL, folder, "r1", "{\"run\":\"r1\"}", &j, &err), ES_OK, "%s", err.text);
    fill(j, 20000);
    es_journal_text(j, ES_JOURNAL_END, 99, "completed");
    cr_assert_eq(es_journal_close(j, &err), ES_OK, "%s", err.text);
    snprintf(path, sizeof path, "%s/r1.journal", folder);
    cr_assert_eq(es_journal_read(NULL, path, visit, &s, &damaged, &whole, &err), ES_OK, "%s", err.text);
    cr_expect_not(damaged);
    cr_expect_eq(s.kinds[ES_JOURNAL_BEGIN], 1);
    cr_expect_eq(s.kinds[ES_JOURNAL_SCAN], 20000);
    cr_expect_eq(s.values, 40000);
    cr_expect_eq(s.last_value, 19999);
    cr_expect_eq(s.kinds[ES_JOURNAL_WRITE], 1);
    cr_expect_str_eq(s.text, "completed");
    /* The same run's journal is not written twice. */
    cr_expect_eq(es_journal_open(NULL, folder, "r1", "{}", &j, &err), ES_REFUSED);
    remove_folder(folder);
}

Test(journal, flush_makes_all_of_it_durable)
{
    char folder[64], path[128];
    struct es_error err = {0};
    struct es_journal *j;
    struct seen s = {0};
    bool damaged;
    size_t whole;
    make_folder(folder);
    cr_assert_eq(es_journal_open(NULL, folder, "r", "{}", &j, &err), ES_OK);
    fill(j, 3);
    cr_assert_eq(es_journal_flush(j, &err), ES_OK);
    snprintf(path, sizeof path, "%s/r.journal", folder);
    cr_assert_eq(es_journal_read(NULL, path, visit, &s, &damaged, &whole, &err), ES_OK);
    cr_expect_eq(s.kinds[ES_JOURNAL_SCAN], 3);
    cr_expect_eq(s.kinds[ES_JOURNAL_WRITE], 1);
    cr_expect_not(damaged);
    cr_assert_eq(es_journal_close(j, &err), ES_OK);
    remove_folder(folder);
}

/* Every cut and every flipped byte: whole blocks or nothing, never a crash, never a wrong value. */
Test(journal, any_cut_and_any_damaged_byte)
{
    char folder[64], path[128], other[128];
    struct es_error err = {0};
    struct es_journal *j;
    char *bytes;
    size_t length;
    make_folder(folder);
    cr_assert_eq(es_journal_open(NULL, folder, "r", "{}", &j, &err), ES_OK);
    fill(j, 4);
    cr_assert_eq(es_journal_flush(j, &err), ES_OK);
    fill(j, 4);
    cr_assert_eq(es_journal_close(j, &err), ES_OK);
    snprintf(path, sizeof path, "%s/r.journal", folder);
    snprintf(other, sizeof other, "%s/other", folder);
    cr_assert_eq(es_file_read(NULL, path, 1 << 20, &bytes, &length, &err), ES_OK);
    for (size_t i = 0; i < 2 * length; i++) {
        bool cutting = i < length;
        size_t at = i % length;
        FILE *f = fopen(other, "wb");
        bytes[at] = (char)(bytes[at] ^ (cutting ? 0 : 0x20));
        fwrite(bytes, 1, cutting ? at : length, f);
        bytes[at] = (char)(bytes[at] ^ (cutting ? 0 : 0x20));
        fclose(f);
        struct seen s = {0};
        bool damaged = false;
        size_t whole = 0;
        enum es_status status = es_journal_read(NULL, other, visit, &s, &damaged, &whole, &err);
        cr_assert(status == ES_OK || status == ES_BAD_INPUT);
        if (status == ES_OK) {
            cr_assert(s.kinds[ES_JOURNAL_SCAN] == 0 || s.kinds[ES_JOURNAL_SCAN] == 4 ||
                      s.kinds[ES_JOURNAL_SCAN] == 8);
            cr_assert(damaged || whole == (cutting ? at : length));
            cr_assert(cutting || damaged, "a changed byte at %zu went unnoticed", at);
        }
    }
    free(bytes);
    remove_folder(folder);
}

/* ---- A disk that fails ---- */

struct failing {
    const struct es_file_ops *real;
    int syncs_left;
};

static int fail_sync(void *self, int fd)
{
    struct failing *f = self;
    if (f->syncs_left-- <= 0) {
        errno = EIO;
        return -1;
    }
    return f->real->sync(f->real->self, fd);
}

static ssize_t pass_write(void *self, int fd, const void *bytes, size_t size)
{
    struct failing *f = self;
    return f->real->write(f->real->self, fd, bytes, size);
}
static int pass_open(void *self, const char *path, int flags, mode_t mode)
{
    struct failing *f = self;
    return f->real->open(f->real->self, path, flags, mode);
}
static ssize_t pass_read(void *self, int fd, void *bytes, size_t size)
{
    struct failing *f = self;
    return f->real->read(f->real->self, fd, bytes, size);
}
static int pass_truncate(void *self, int fd, off_t size)
{
    struct failing *f = self;
    return f->real->truncate(f->real->self, fd, size);
}
static off_t pass_size(void *self, int fd)
{
    struct failing *f = self;
    return f->real->size(f->real->self, fd);
}
static int pass_close(void *self, int fd)
{
    struct failing *f = self;
    return f->real->close(f->real->self, fd);
}
static int pass_mkdir(void *self, const char *path, mode_t mode)
{
    struct failing *f = self;
    return f->real->mkdir(f->real->self, path, mode);
}

Test(journal, failing_disk_is_told_and_never_waited_for)
{
    char folder[64];
    struct es_error err = {0};
    struct es_journal *j = NULL;
    make_folder(folder);
    for (int allowed = 0; allowed < 6; allowed++) {
        struct failing f = {es_file_system(), allowed};
        struct es_file_ops ops = {.self = &f,
                                  .open = pass_open,
                                  .read = pass_read,
                                  .write = pass_write,
                                  .sync = fail_sync,
                                  .truncate = pass_truncate,
                                  .size = pass_size,
                                  .close = pass_close,
                                  .mkdir = pass_mkdir};
        char run[16];
        snprintf(run, sizeof run, "r%d", allowed);
        enum es_status status = es_journal_open(&ops, folder, run, "{}", &j, &err);
        if (status != ES_OK) {
            cr_expect_eq(status, ES_IO, "%s", err.text);
            continue;
        }
        for (int i = 0; i < 6 && status == ES_OK; i++) {
            fill(j, 1);
            status = es_journal_flush(j, &err);
        }
        cr_expect_eq(status, ES_IO);
        cr_expect_not_null(strstr(err.text, "journal"));
        cr_expect_eq(es_journal_status(j, &err), ES_IO);
        fill(j, 1); /* ignored, without waiting */
        cr_expect_eq(es_journal_close(j, &err), ES_IO);
    }
    remove_folder(folder);
}

/* ---- Recordings ---- */

static struct es_trace sample_trace(void)
{
    static double t[] = {0, 0.005000000000000001, 0.01}, y[] = {1.0 / 3, -4e5, 5e-324};
    static uint8_t q[] = {ES_GOOD, ES_OUT_OF_RANGE, ES_GOOD};
    static struct es_series s[2];
    static struct es_command c = {ES_ROLE_LOOP_DEMAND, 0.1, 1e-4, 0.004, 0.012};
    s[0] = (struct es_series){
        .role = ES_ROLE_TRAVEL, .dimension = ES_DIM_LENGTH, .count = 3, .t = t, .y = y, .quality = q};
    s[0].u = (struct es_channel_uncertainty){1e-5, 2e-4, INFINITY, 1e-6, 1e-4, 0, 0.002, 3e-6};
    s[1] = (struct es_series){
        .role = ES_ROLE_SUPPLY_PRESSURE, .dimension = ES_DIM_PRESSURE, .low = -0.2e5, .high = 1e6 / 3};
    return (struct es_trace){.name = (char *)(uintptr_t) "step \"up\"",
                             .duration = 0.2,
                             .series = s,
                             .series_count = 2,
                             .commands = &c,
                             .command_count = 1};
}

Test(recording, reads_back_bit_for_bit)
{
    char folder[64], digest[65], name[96], path[256];
    struct es_error err = {0};
    struct es_trace written = sample_trace(), *t;
    size_t bytes;
    make_folder(folder);
    cr_assert_eq(es_recording_write(NULL, folder, &written, "stroke", digest, &bytes, &err), ES_OK, "%s",
                 err.text);
    es_recording_file_name(digest, name);
    snprintf(path, sizeof path, "%s/%s", folder, name);
    cr_assert_eq(es_recording_read(NULL, path, digest, &t, &err), ES_OK, "%s", err.text);
    cr_expect_str_eq(t->name, written.name);
    cr_expect_eq(t->series_count, 2);
    for (size_t i = 0; i < 3; i++) {
        cr_expect_eq(memcmp(&t->series[0].t[i], &written.series[0].t[i], 8), 0);
        cr_expect_eq(memcmp(&t->series[0].y[i], &written.series[0].y[i], 8), 0);
        cr_expect_eq(t->series[0].quality[i], written.series[0].quality[i]);
    }
    cr_expect_eq(memcmp(&t->series[0].u, &written.series[0].u, sizeof t->series[0].u), 0);
    cr_expect_eq(t->commands[0].to, 0.012);
    cr_expect(!(t->series[0].low < t->series[0].high), "no range was known");
    cr_expect(t->series[1].low == -0.2e5 && t->series[1].high == 1e6 / 3);
    es_trace_free(t);
    /* The digest is that of the text: gzip and sha256sum alone must confirm it. */
    char command[512], said[65] = "";
    snprintf(command, sizeof command, "gzip -dc '%s' | sha256sum", path);
    FILE *p = popen(command, "r");
    cr_assert_not_null(p);
    cr_assert_eq(fread(said, 1, 64, p), 64);
    pclose(p);
    cr_expect_str_eq(said, digest);
    /* Another digest is another recording. */
    digest[0] = digest[0] == '0' ? '1' : '0';
    cr_expect_eq(es_recording_read(NULL, path, digest, &t, &err), ES_NOT_VALID);
    remove_folder(folder);
}

Test(recording, damaged_file_is_refused)
{
    char folder[64], digest[65], name[96], path[256], *bytes;
    struct es_error err = {0};
    struct es_trace written = sample_trace(), *t;
    size_t size, length;
    make_folder(folder);
    cr_assert_eq(es_recording_write(NULL, folder, &written, "stroke", digest, &size, &err), ES_OK);
    es_recording_file_name(digest, name);
    snprintf(path, sizeof path, "%s/%s", folder, name);
    cr_assert_eq(es_file_read(NULL, path, 1 << 20, &bytes, &length, &err), ES_OK);
    for (size_t i = 10; i < length;
         i++) { /* the first ten bytes are gzip's head, some of which mean nothing */
        bytes[i] = (char)(bytes[i] ^ 1);
        cr_assert_eq(es_file_write(NULL, path, ES_FILE_REPLACE, 0600, bytes, length, &err), ES_OK);
        cr_expect_neq(es_recording_read(NULL, path, digest, &t, &err), ES_OK, "byte %zu", i);
        bytes[i] = (char)(bytes[i] ^ 1);
    }
    free(bytes);
    remove_folder(folder);
}
