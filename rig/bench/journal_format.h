/* Layout of a journal's bytes; docs/journal-file.md says the same for people. Inside of rig/bench only. */
#ifndef ES_BENCH_JOURNAL_FORMAT_H
#define ES_BENCH_JOURNAL_FORMAT_H

#define ES_JOURNAL_MAGIC      "ENDSTOP JOURNAL1"
#define ES_JOURNAL_MAGIC_SIZE 16
#define ES_JOURNAL_BLOCK_HEAD 8           /* length u32, CRC-32 (ISO 3309, as in zlib) u32 */
#define ES_JOURNAL_HEAD       13          /* kind u8, length u32, time i64 */
#define ES_JOURNAL_BLOCK      (64u << 10) /* a block is written when so much waits */

#endif
