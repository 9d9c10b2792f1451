/* Reads a CSV recording and prints the outputs of "step response", for check_steps.py.
 * Use: reference-step-print FILE SETTINGS */
#include <stdio.h>
#include <stdlib.h>

#include "procedures/measures/csv_trace.h"
#include "tests/unit/measures/synthetic.h"

int main(int argc, char **argv)
{
    if (argc != 3)
        return 2;
    FILE *f = fopen(argv[1], "rb");
    static char text[1 << 24];
    size_t length = f ? fread(text, 1, sizeof text, f) : 0;
    struct es_findings findings = {0};
    struct es_trace *trace = NULL;
    struct es_error err = {0};
    if (!f || es_csv_trace_read(argv[1], text, length, NULL, &findings, &trace, NULL, &err) != ES_OK) {
        es_findings_print(&findings, stderr);
        fprintf(stderr, "%s\n", err.text);
        return 1;
    }
    fclose(f);
    const struct es_measure *m = es_measure_find("step response");
    struct es_measured *v = syn_measure_one(m->name, argv[2], trace, NULL);
    for (size_t i = 0; i < m->output_count; i++)
        printf("%s;%d;%.12g;%.12g;%s\n", v[i].name, v[i].valid, v[i].value, v[i].U, v[i].reason);
    free(v);
    es_trace_free(trace);
    return 0;
}
