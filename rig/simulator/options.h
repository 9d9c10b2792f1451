/* What endstop-sim is told on its command line. */
#ifndef ES_SIMULATOR_OPTIONS_H
#define ES_SIMULATOR_OPTIONS_H

#include "rig/simulator/simulator.h"

#define SIM_FAULTS_MAX   16
#define SIM_COMMANDS_MAX 16

/* Texts are borrowed from argv. */
struct sim_options {
    const char *bench, *control, *ready_file;
    struct sim_setup setup; /* its faults are those below: set by who makes this */
    struct es_virtual_fault_setting faults[SIM_FAULTS_MAX];
    const char *commands[SIM_COMMANDS_MAX];
    size_t command_count;
    const char *tell; /* path of another simulator's control socket; NULL: be one */
    char **words;     /* of the command to tell it */
    size_t word_count;
    bool only_told; /* --help and the like: done */
};

enum es_status sim_options_parse(int argc, char **argv, struct sim_options *o,
                                 struct es_error *err) ES_MUST_CHECK;

#endif
