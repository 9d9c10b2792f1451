/* A small bench file for the scripted driver, as text that tests may alter. Two buses: "air" with two
 * instruments and "loop" with one. */
#ifndef ES_TESTS_SMALL_BENCH_H
#define ES_TESTS_SMALL_BENCH_H

#define SMALL_BENCH                                                                                          \
    "{\n"                                                                                                    \
    " \"endstop\": \"bench/1\",\n"                                                                           \
    " \"name\": \"Small bench\", \"place\": \"Nowhere 1\",\n"                                                \
    " \"buses\": [\n"                                                                                        \
    "  {\"name\": \"air\", \"driver\": \"scripted\", \"settings\": {\"script\": \"air\"}},\n"                \
    "  {\"name\": \"loop\", \"driver\": \"scripted\", \"settings\": {\"script\": \"loop\"}}],\n"             \
    " \"instruments\": [\n"                                                                                  \
    "  {\"name\": \"gauges\", \"bus\": \"air\", \"timeout\": \"50 ms\", \"settings\": {\"unit\": 0}},\n"     \
    "  {\"name\": \"valves\", \"bus\": \"air\", \"timeout\": \"50 ms\", \"settings\": {\"unit\": 1}},\n"     \
    "  {\"name\": \"source\", \"bus\": \"loop\", \"timeout\": \"50 ms\", \"settings\": {\"unit\": 0}}],\n"   \
    " \"stations\": [{\n"                                                                                    \
    "  \"name\": \"1\",\n"                                                                                   \
    "  \"channels\": [\n"                                                                                    \
    "   {\"role\": \"supply pressure\", \"instrument\": \"gauges\", \"address\": {\"register\": 0},\n"       \
    "    \"unit\": \"bar\", \"scale\": {\"factor\": 0.001}, \"plausible\": {\"low\": \"-0.5 bar\", "         \
    "\"high\": \"10 bar\"},\n"                                                                               \
    "    \"resolution\": \"0.001 bar\", \"rate\": \"50 Hz\", \"stale after\": \"0.3 s\",\n"                  \
    "    \"calibration\": {\"certificate\": \"C-1\", \"date\": \"2026-02-01\", \"due\": \"2099-02-01\",\n"   \
    "     \"U\": \"0.002 bar\", \"corrections\": [[0, 0.01], [5, 0.02], [10, 0.0]]}},\n"                     \
    "   {\"role\": \"emergency stop\", \"instrument\": \"gauges\", \"address\": {\"register\": 1},\n"        \
    "    \"rate\": \"50 Hz\", \"stale after\": \"0.3 s\"},\n"                                                \
    "   {\"role\": \"supply valve\", \"instrument\": \"valves\", \"address\": {\"register\": 2}},\n"         \
    "   {\"role\": \"output 1 vent valve\", \"instrument\": \"valves\", \"address\": {\"register\": 3}},\n"  \
    "   {\"role\": \"supply demand\", \"instrument\": \"valves\", \"address\": {\"register\": 4},\n"         \
    "    \"unit\": \"bar\"},\n"                                                                              \
    "   {\"role\": \"loop demand\", \"instrument\": \"source\", \"address\": {\"register\": 0},\n"           \
    "    \"unit\": \"mA\", \"read back\": {\"role\": \"loop current\", \"within\": \"0.1 mA\", "             \
    "\"after\": \"0.3 s\"}},\n"                                                                              \
    "   {\"role\": \"loop current\", \"instrument\": \"source\", \"address\": {\"register\": 1},\n"          \
    "    \"unit\": \"mA\", \"plausible\": {\"low\": \"-1 mA\", \"high\": \"30 mA\"},\n"                      \
    "    \"rate\": \"50 Hz\", \"stale after\": \"0.3 s\"}],\n"                                               \
    "  \"ceilings\": [\n"                                                                                    \
    "   {\"role\": \"supply demand\", \"highest\": \"7 bar\", \"lowest\": \"0 bar\", \"slew\": "             \
    "\"100 bar/s\"},\n"                                                                                      \
    "   {\"role\": \"loop demand\", \"highest\": \"22 mA\", \"lowest\": \"0 mA\"}],\n"                       \
    "  \"safe state\": {\"within\": \"2 s\", \"writes\": [\n"                                                \
    "   {\"role\": \"supply valve\", \"value\": 0, \"wait\": \"20 ms\"},\n"                                  \
    "   {\"role\": \"supply demand\", \"value\": \"0 bar\"},\n"                                              \
    "   {\"role\": \"output 1 vent valve\", \"value\": 1},\n"                                                \
    "   {\"role\": \"loop demand\", \"value\": \"0 mA\"}]},\n"                                               \
    "  \"facts\": [{\"name\": \"output 1 volume\", \"value\": \"500 cm3\", \"uncertainty\": \"2 cm3\"}]\n"   \
    " }]\n"                                                                                                  \
    "}\n"

#endif
