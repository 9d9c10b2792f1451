/* Prints what docs/ takes from the rows of the bench file: "schema" or "reference". To bring docs/ up to
 * date: bench-docs schema > docs/schema/bench-1.schema.json bench-docs reference docs/bench-file.md > new
 * (the page with its tables anew) */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rig/base/file.h"
#include "rig/bench/bench_schema.h"

#define MARK "<!-- From here on written by bench-docs out of the program's own rows. -->\n"

int main(int argc, char **argv)
{
    struct es_text t = {0};
    struct es_error err = {0};
    enum es_status status = ES_USAGE;
    if (argc == 2 && !strcmp(argv[1], "schema")) {
        status = es_bench_schema(&t, &err);
    } else if (argc == 3 && !strcmp(argv[1], "reference")) {
        char *page;
        size_t length;
        status = es_file_read(NULL, argv[2], 1u << 20, &page, &length, &err);
        if (status == ES_OK) {
            char *mark = strstr(page, MARK);
            es_text_append(&t, page, mark ? (size_t)(mark - page) : length);
            es_text_add(&t, MARK);
            free(page);
            status = es_bench_reference(&t, &err);
        }
    } else {
        es_fail(&err, ES_USAGE, "bench-docs schema, or bench-docs reference PAGE");
    }
    if (status == ES_OK) {
        fwrite(t.bytes, 1, t.length, stdout);
    } else {
        fprintf(stderr, "%s\n", err.text);
    }
    es_text_free(&t);
    return es_exit_status(status);
}
