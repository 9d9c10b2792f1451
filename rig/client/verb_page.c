#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "results/page/page.h"
#include "rig/base/file.h"
#include "rig/client/talk.h"
#include "rig/client/trust.h"
#include "rig/client/verb.h"

struct arguments {
    struct es_option_list files, keys;
    const char *state, *output, *paper;
    bool quiet;
};

static const struct es_option options[] = {
    {.name = "output",
     .value = "FILE",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, output),
     .meaning =
         "where the page goes: a name that ends in .pdf or .svg, or \"-\" for a PDF on standard output; "
         "default: the certificate's number with .pdf in the current folder"},
    ES_TEXT_OPTION(struct arguments, "paper", "SIZE", paper, "a4 (default) or letter"),
    {.name = "key",
     .value = "FILE",
     .kind = ES_OPTION_LIST,
     .offset = offsetof(struct arguments, keys),
     .meaning = "public key that you trust (PEM or JWK); may be given several times"},
    {.name = "state",
     .value = "DIR",
     .kind = ES_OPTION_TEXT,
     .offset = offsetof(struct arguments, state),
     .meaning = "state folder of a bench: its own key and those in keys/trusted are trusted"},
    {.name = "quiet",
     .kind = ES_OPTION_FLAG,
     .offset = offsetof(struct arguments, quiet),
     .meaning = "do not say where the page was written"},
};

static const struct es_command_line line = {
    .program = "endstop page",
    .summary = "draws a certificate as a page to print, PDF or SVG",
    .detail =
        "Drawn from the certificate alone, after its signatures were checked: an altered certificate gets no "
        "page. "
        "Without a trusted key the page says that the signer was not checked. The same certificate gives the "
        "same bytes. Exit status 0: drawn; 1: the certificate is not valid; 2: not a certificate, or wrong "
        "use.",
    .example = "endstop page certificate.json --key bench.pub.pem --output certificate.pdf",
    .options = options,
    .option_count = sizeof options / sizeof options[0],
    .operands = {.name = "CERTIFICATE",
                 .min = 1,
                 .max = 1,
                 .offset = offsetof(struct arguments, files),
                 .meaning = "certificate or record; \"-\" is standard input"},
};

static bool ends_in(const char *name, const char *ending)
{
    size_t length = strlen(name), end = strlen(ending);
    return length > end && strcasecmp(name + length - end, ending) == 0;
}

static enum es_status choose_format(const char *output, enum es_canvas_format *format, struct es_error *err)
{
    *format = output != NULL && ends_in(output, ".svg") ? ES_CANVAS_SVG : ES_CANVAS_PDF;
    if (output == NULL || strcmp(output, "-") == 0 || *format == ES_CANVAS_SVG || ends_in(output, ".pdf"))
        return ES_OK;
    return es_fail(err, ES_USAGE, "--output %s: the page's name has to end in .pdf or .svg", output);
}

static enum es_status choose_paper(const char *name, enum es_page_paper *paper, struct es_error *err)
{
    *paper = name != NULL && strcasecmp(name, "letter") == 0 ? ES_PAPER_LETTER : ES_PAPER_A4;
    if (name == NULL || *paper == ES_PAPER_LETTER || strcasecmp(name, "a4") == 0)
        return ES_OK;
    return es_fail(err, ES_USAGE, "--paper %s: the paper is a4 or letter", name);
}

/* A page is for its owner and whom he gives it to: as readable as the umask lets it be. */
static enum es_status write_page(const struct arguments *a, const cJSON *root, const char *bytes,
                                 size_t length, struct es_error *err)
{
    struct es_text name = {0};
    if (a->output != NULL && strcmp(a->output, "-") == 0)
        return fwrite(bytes, 1, length, stdout) == length
                   ? ES_OK
                   : es_fail(err, ES_IO, "the page could not be written");
    if (a->output != NULL)
        es_text_add(&name, a->output);
    else /* the format lets no number hold a '/' */
        es_text_printf(&name, "%s.pdf", es_member_text(root, "number"));
    enum es_status s = es_text_status(&name, err);
    if (s == ES_OK)
        s = es_file_write(NULL, name.bytes, ES_FILE_REPLACE, 0666, bytes, length, err);
    if (s == ES_OK && !a->quiet) {
        struct es_text clean = {0};
        es_text_visible(&clean, name.bytes, name.length);
        printf("%s\n", clean.bytes != NULL ? clean.bytes : "");
        es_text_free(&clean);
    }
    es_text_free(&name);
    return s;
}

static enum es_status draw(const struct arguments *a, const struct es_trust *trust,
                           struct es_findings *findings, struct es_error *err)
{
    const char *file = a->files.items[0];
    struct es_certificate_report report;
    struct es_document *document = NULL;
    enum es_canvas_format format;
    enum es_page_paper paper = ES_PAPER_A4;
    char *bytes = NULL, *page = NULL;
    size_t length = 0, page_length = 0;
    enum es_status s = choose_format(a->output, &format, err);
    if (s == ES_OK)
        s = choose_paper(a->paper, &paper, err);
    if (s == ES_OK)
        s = es_file_read(NULL, file, ES_DOCUMENT_MAX, &bytes, &length, err);
    if (s == ES_OK)
        s = es_certificate_verify(file, bytes, length, trust->keys, trust->count, &report, err);
    if (s == ES_OK && report.finding == ES_CERTIFICATE_NOT_ONE)
        s = es_certificate_status(&report, err);
    if (s == ES_OK)
        s = es_document_parse(file, bytes, length, findings, &document, err);
    if (s == ES_OK)
        s = es_page_draw(&report, es_document_root(document), format, paper, &page, &page_length, err);
    if (s == ES_OK)
        s = write_page(a, es_document_root(document), page, page_length, err);
    free(page);
    es_document_free(document);
    free(bytes);
    return s;
}

static int run(const struct es_screen *screen, int argc, char **argv)
{
    struct arguments a = {0};
    int status;
    if (!es_verb_begin(&es_verb_page, screen, argc, argv, &a, &status))
        return status;
    struct es_error err = {0};
    struct es_findings findings = {0};
    struct es_trust *trust = calloc(1, sizeof *trust);
    enum es_status s = trust != NULL ? es_trust_load(&a.keys, a.state, trust, &err)
                                     : es_fail(&err, ES_NO_MEMORY, "not enough memory to draw");
    if (s == ES_OK)
        s = draw(&a, trust, &findings, &err);
    status = s == ES_OK ? es_verb_end(&es_verb_page, 0) : es_verb_fail(&es_verb_page, &err, &findings);
    if (trust != NULL)
        es_trust_clear(trust);
    free(trust);
    es_findings_free(&findings);
    return status;
}

const struct es_verb es_verb_page = {.line = &line, .name = "page", .run = run};
