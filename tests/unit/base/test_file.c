/* Files when all goes well, and what is refused. Failing system calls: tests/fault/base. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rig/base/digest.h"
#include "rig/base/file.h"

static char folder[64];

static const char *in_folder(const char *name)
{
    static char path[4][128];
    static unsigned next;
    char *out = path[next++ % 4];

    (void)snprintf(out, sizeof path[0], "%s/%s", folder, name);
    return out;
}

static void enter(void)
{
    (void)strcpy(folder, "/tmp/endstop-file-XXXXXX");
    cr_assert_neq(mkdtemp(folder), NULL);
}

static void leave(void)
{
    char command[100];

    (void)snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_assert_eq(system(command), 0);
}

static size_t entries(void)
{
    DIR *d = opendir(folder);
    size_t n = 0;

    cr_assert_neq(d, NULL);
    for (struct dirent *e = readdir(d); e != NULL; e = readdir(d))
        n += strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0;
    (void)closedir(d);
    return n;
}

static void holds(const char *path, const char *text)
{
    char *bytes = NULL;
    size_t length = 0;

    cr_assert_eq(es_file_read(NULL, path, 1 << 20, &bytes, &length, NULL), ES_OK);
    cr_expect_eq(length, strlen(text));
    cr_expect_str_eq(bytes, text);
    free(bytes);
}

TestSuite(file, .init = enter, .fini = leave);

Test(file, written_whole_and_read_back)
{
    const char *path = in_folder("a");
    struct stat info;

    cr_assert_eq(es_file_write(NULL, path, ES_FILE_REPLACE, 0600, "one", 3, NULL), ES_OK);
    holds(path, "one");
    cr_assert_eq(stat(path, &info), 0);
    cr_expect_eq(info.st_mode & 0777, 0600);
    cr_assert_eq(es_file_write(NULL, path, ES_FILE_REPLACE, 0640, "two!", 4, NULL), ES_OK);
    holds(path, "two!");
    cr_assert_eq(es_file_write(NULL, path, ES_FILE_REPLACE, 0640, "", 0, NULL), ES_OK);
    holds(path, "");
    cr_expect_eq(entries(), 1, "no temporary file may stay");
}

Test(file, new_never_overwrites)
{
    const char *path = in_folder("a");
    struct es_error err = {0};

    cr_assert_eq(es_file_write(NULL, path, ES_FILE_NEW, 0600, "one", 3, NULL), ES_OK);
    cr_expect_eq(es_file_write(NULL, path, ES_FILE_NEW, 0600, "two", 3, &err), ES_REFUSED);
    cr_expect_neq(strstr(err.text, "exists already"), NULL);
    holds(path, "one");
    cr_expect_eq(entries(), 1);
}

Test(file, large_and_limits)
{
    size_t size = 300001, length = 0;
    char *text = malloc(size + 1), *back = NULL;
    struct es_error err = {0};

    cr_assert_neq(text, NULL);
    for (size_t i = 0; i < size; i++)
        text[i] = (char)('a' + i % 26);
    text[size] = '\0';
    cr_assert_eq(es_file_write(NULL, in_folder("big"), ES_FILE_NEW, 0600, text, size, NULL), ES_OK);
    cr_assert_eq(es_file_read(NULL, in_folder("big"), size, &back, &length, NULL), ES_OK);
    cr_expect_eq(length, size);
    cr_expect_eq(memcmp(back, text, size + 1), 0);
    free(back);
    back = NULL;
    cr_expect_eq(es_file_read(NULL, in_folder("big"), size - 1, &back, &length, &err), ES_RANGE);
    cr_expect_eq(back, NULL);
    free(text);
}

Test(file, what_is_not_there)
{
    struct es_error err = {0};
    char *bytes = NULL;
    size_t length = 0;

    cr_expect_eq(es_file_read(NULL, in_folder("none"), 10, &bytes, &length, &err), ES_NOT_FOUND);
    cr_expect_eq(es_file_read(NULL, folder, 10, &bytes, &length, &err), ES_BAD_INPUT);
    cr_expect_eq(es_file_write(NULL, in_folder("none/a"), ES_FILE_NEW, 0600, "x", 1, &err), ES_NOT_FOUND);
    cr_expect_eq(es_file_remove(NULL, in_folder("none"), &err), ES_NOT_FOUND);
    cr_expect_eq(entries(), 0);
}

Test(file, a_link_is_replaced_not_followed)
{
    char *bytes = NULL;
    size_t length = 0;
    struct stat info;

    cr_assert_eq(es_file_write(NULL, in_folder("target"), ES_FILE_NEW, 0600, "safe", 4, NULL), ES_OK);
    cr_assert_eq(symlink(in_folder("target"), in_folder("link")), 0);
    cr_assert_eq(es_file_write(NULL, in_folder("link"), ES_FILE_REPLACE, 0600, "new", 3, NULL), ES_OK);
    cr_assert_eq(lstat(in_folder("link"), &info), 0);
    cr_expect(S_ISREG(info.st_mode));
    cr_assert_eq(es_file_read(NULL, in_folder("target"), 10, &bytes, &length, NULL), ES_OK);
    cr_expect_str_eq(bytes, "safe");
    free(bytes);
}

/* A rename would put a file where a device or a pipe was. */
Test(file, only_a_file_is_replaced)
{
    static const char *const no_files[] = {"pipe", "link", "folder"};
    struct es_error err = {0};
    struct stat info;

    cr_assert_eq(mkfifo(in_folder("pipe"), 0600), 0);
    cr_assert_eq(mkdir(in_folder("folder"), 0700), 0);
    cr_assert_eq(symlink("/dev/null", in_folder("link")), 0);
    for (size_t i = 0; i < sizeof no_files / sizeof no_files[0]; i++) {
        const char *path = in_folder(no_files[i]);
        cr_expect_eq(es_file_may_be_written(path, &err), ES_USAGE, "%s", path);
        cr_expect_eq(es_file_write(NULL, path, ES_FILE_REPLACE, 0600, "x", 1, &err), ES_USAGE, "%s", path);
        cr_expect(strstr(err.text, "nothing was written") != NULL, "%s", err.text);
    }
    cr_expect_eq(es_file_may_be_written("/dev/null", &err), ES_USAGE); /* to write there could harm */
    cr_expect(strstr(err.text, "a device") != NULL, "%s", err.text);
    cr_assert_eq(lstat(in_folder("pipe"), &info), 0);
    cr_expect(S_ISFIFO(info.st_mode));
    cr_expect_eq(entries(), 3);
}

Test(file, may_be_written_tells_beforehand)
{
    struct es_error err = {0};

    cr_assert_eq(es_file_write(NULL, in_folder("file"), ES_FILE_NEW, 0600, "x", 1, &err), ES_OK);
    cr_expect_eq(es_file_may_be_written(in_folder("file"), &err), ES_OK);
    cr_expect_eq(es_file_may_be_written(in_folder("new"), &err), ES_OK);
    cr_expect_eq(es_file_may_be_written("here", &err), ES_OK);
    cr_expect_eq(es_file_may_be_written(in_folder("none/new"), &err), ES_NOT_FOUND);
    cr_expect_eq(es_file_may_be_written(in_folder("file/new"), &err), ES_IO);
    cr_expect_eq(entries(), 1);
}

Test(file, relative_path_in_the_working_folder)
{
    cr_assert_eq(chdir(folder), 0);
    cr_assert_eq(es_file_write(NULL, "plain", ES_FILE_NEW, 0600, "x", 1, NULL), ES_OK);
    holds("plain", "x");
    cr_assert_eq(es_file_remove(NULL, "plain", NULL), ES_OK);
    cr_expect_eq(entries(), 0);
}

Test(file, folders)
{
    struct stat info;
    struct es_error err = {0};

    cr_assert_eq(es_folder_make(NULL, in_folder("a/b//c/"), 0750, &err), ES_OK, "%s", err.text);
    cr_assert_eq(stat(in_folder("a/b/c"), &info), 0);
    cr_expect(S_ISDIR(info.st_mode));
    cr_expect_eq(es_folder_make(NULL, in_folder("a/b"), 0750, NULL), ES_OK);
    cr_expect_eq(es_folder_make(NULL, "/", 0750, NULL), ES_OK);
    cr_assert_eq(es_file_write(NULL, in_folder("file"), ES_FILE_NEW, 0600, "x", 1, NULL), ES_OK);
    cr_expect_eq(es_folder_make(NULL, in_folder("file"), 0750, &err), ES_REFUSED);
    cr_expect_neq(es_folder_make(NULL, in_folder("file/below"), 0750, &err), ES_OK);
    cr_expect_eq(es_folder_make(NULL, "", 0750, &err), ES_USAGE);
    cr_assert_eq(chdir(folder), 0);
    cr_expect_eq(es_folder_make(NULL, "relative/too", 0750, &err), ES_OK);
    cr_expect_eq(stat("relative/too", &info), 0);
}

Test(file, appender_grows_and_goes_on)
{
    struct es_appender a = {0};
    struct es_error err = {0};
    const char *path = in_folder("journal");

    cr_expect_eq(es_appender_close(&a, &err), ES_OK, "one that was never opened");
    cr_assert_eq(es_appender_open(NULL, path, 0600, &a, &err), ES_OK);
    cr_assert_eq(es_appender_write(&a, "one,", 4, &err), ES_OK);
    cr_assert_eq(es_appender_sync(&a, &err), ES_OK);
    cr_expect_eq(a.length, 4);
    cr_assert_eq(es_appender_close(&a, &err), ES_OK);
    cr_assert_eq(es_appender_open(NULL, path, 0600, &a, &err), ES_OK);
    cr_expect_eq(a.length, 4);
    cr_assert_eq(es_appender_write(&a, "two", 3, &err), ES_OK);
    cr_assert_eq(es_appender_close(&a, &err), ES_OK);
    holds(path, "one,two");
    cr_expect_neq(es_appender_open(NULL, folder, 0600, &a, &err), ES_OK);
}
