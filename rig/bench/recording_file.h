/* A recording as a file that outlives the program: text (docs/recording-file.md), compressed with gzip
 * (RFC 1952), named by the SHA-256 of the text. Every number is written so that it reads back bit for bit. */
#ifndef ES_BENCH_RECORDING_FILE_H
#define ES_BENCH_RECORDING_FILE_H

#include "procedures/measures/trace.h"
#include "rig/base/file.h"
#include "rig/base/text.h"

/* Appends the recording's text. Memory trouble is sticky in `out`. */
void es_recording_text(const struct es_trace *trace, const char *procedure, struct es_text *out);

/* Writes FOLDER/DIGEST.recording.gz durably (an equal one that is there already is left alone). `digest` is
 * that of the text; *bytes the text's length. */
enum es_status es_recording_write(const struct es_file_ops *ops, const char *folder,
                                  const struct es_trace *trace, const char *procedure, char digest[static 65],
                                  size_t *bytes, struct es_error *err) ES_MUST_CHECK;

/* The name of the file within its folder: DIGEST.recording.gz. */
void es_recording_file_name(const char *digest, char out[static 96]);

/* Reads one back, checks the digest. ES_NOT_VALID: not what the digest says. */
enum es_status es_recording_read(const struct es_file_ops *ops, const char *path, const char *digest,
                                 struct es_trace **out, struct es_error *err) ES_MUST_CHECK;

#endif
