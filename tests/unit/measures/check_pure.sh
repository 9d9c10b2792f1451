#!/bin/sh
# The measures' objects import nothing that reads, writes, tells the time or keeps state outside them.
# Use: check_pure.sh libes_measures.a
set -eu
symbols=$(nm -u "$1" | awk 'NF == 2 { print $2 }' | sort -u)
test -n "$symbols"
bad=$(printf '%s\n' "$symbols" | grep -E \
  '^(open|openat|creat|read|pread|write|pwrite|close|fopen|fclose|fread|fwrite|fputs|fputc|printf|fprintf|vfprintf|puts|putchar|socket|send|recv|time|clock|clock_gettime|gettimeofday|nanosleep|sleep|rand|srand|random|getenv|setlocale|pthread_.*|es_clock_.*)(64|_chk)?$' || true)
if [ -n "$bad" ]; then
    echo "the measures import: $bad"
    exit 1
fi
# constant tables with addresses are in .data.rel.ro (type d); anything in .bss or .data itself is state
state=$(objdump -t "$1" | awk '$0 ~ / (\.bss|\.data|COMMON|\*COM\*)\t/ && $NF !~ /^\./ { print $NF }')
if [ -n "$state" ]; then
    echo "writable state in the measures: $state"
    exit 1
fi
