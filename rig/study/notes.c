#include "rig/study/notes.h"

#include <string.h>

/* clang-format off */
static const struct es_fault_note notes[] = {
    {"relay seat leaks to output 1", 0.1, "8 Nl/h from 5 bar: more than twice what a good seat may let through; the valve creeps when the unit loses its signal", 0.012},
    {"relay seat leaks to output 2", 0.1, "as for output 1", 0.008},
    {"seal between outputs missing", 0.15, "72 Nl/h between the outputs: the actuator loses stiffness and the unit never rests", 0.006},
    {"seal to atmosphere cut", 0.1, "32 Nl/h lost all the time, and the actuator does not hold when air fails", 0.008},
    {"nozzle partly blocked", 0.4, "a third of the upward reach gone, and the relay ten times as slow: strokes take visibly longer", 0.006},
    {"coil open", 0.1, "an interruption of any length stops the valve at that moment; a tenth of the time is met in every stroke", 0.003},
    {"coil weak", 0.35, "a third of the drive gone: strokes take visibly longer, and little is left when the supply is low", 0.004},
    {"spool sticking", 0.2, "starts only at 13 % of its travel: the unit hunts about its set point", 0.010},
    {"spool worn", 0.65, "ports open by 2 % of the travel at rest: air is lost all the time and the unit hunts", 0.004},
    {"outputs crossed", 0, "drives the wrong way", 0.003},
    {"sensor track worn", 0.05, "any gap makes the valve jump when it stands there", 0.010},
    {"sensor disturbed", 0.05, "3 degrees: the valve stands some 5 % from where it is told", 0.010},
    {"sensor non-linear", 0.25, "1.5 % of the ratio: more than the usual limit of linearity", 0.004},
    {"coupling slack", 0.1, "0.5 degrees of play: half a percent of travel, and the valve hunts", 0.008},
    {"connector off", 0, "nothing works", 0.005},
    {"electronics dead", 0.1, "dead for a tenth of the time: the valve is without control then", 0.004},
    {"minimum current high", 0.2, "dead at 4 mA: cannot close the valve under control", 0.004},
    {"feedback drifted", 0.2, "1 % of the span and more: operators see a wrong position", 0.005},
    {"auxiliary circuit open", 0, "the valve stays driven down", 0.003},
    {"lever too short", 0.3, "angle beyond 30 degrees at the end stops: the sensor's ends come near", 0.005},
    {"lever too long", 0.45, "less than 25 degrees of travel: resolution is lost", 0.004},
    {"lever not parallel", 0.15, "3 degrees off the middle: asymmetry beyond what adjustment takes up", 0.008},
    {"actuator friction high", 0.3, "nearly four times the usual friction: sticks and slips about the set point", 0.008},
    {"diaphragm leaking", 0.15, "144 Nl/h: does not hold when air fails, and air is lost all the time", 0.004},
    {"supply low", 0.55, "source below the nominal supply: nothing can be said of the unit", 0.004},
    {"filter clogged", 0.85, "supply falls during a stroke: times are the bench's, not the unit's", 0.003},
    {"fitting leaks on output 1", 0.1, "8 Nl/h: more than the limit of the unit's own leak", 0.005},
    {"fitting leaks on output 2", 0.1, "as on output 1", 0.003},
    {"flow sensor drifted", 0.15, "4.5 % and 3 Nl/h: as much as the limit of the leak", 0.002},
    {"loop source off calibration", 0.1, "0.3 % and 0.03 mA: a quarter of the limit of the steady-state error", 0.002},
    {"encoder slack", 0.1, "0.4 degrees: as much as the limit of the sensor's hysteresis", 0.002},
    {"electrical noise", 0.1, "0.1 % of every span", 0.002},
    {"self-adjustment never ends", 0.75, "takes longer than four minutes, which is where people stop waiting", 0.003},
    {"slow bus", 0.35, "49 ms more for every exchange: readings come too seldom for steps and strokes", 0.003},
};

#define AIR "Wear eye and hearing protection; compressed air stores energy."
#define OFF "Supply air off and the actuator vented before anything is touched."
#define EX  "Explosion-protected units and live circuits only by people licensed for it, under the local rules."

static const struct es_check_note checks[] = {
    {"Brush leak-detection fluid on the bench's fittings between flow sensor and actuator while an output is under pressure.", AIR, 3,
     "fitting leaks on output 1|fitting leaks on output 2"},
    {"Listen and feel at the relay's exhaust with supply on and no loop current; then cap the exhaust for a moment and see whether the leak goes elsewhere.", AIR, 2,
     "relay seat leaks to output 1|relay seat leaks to output 2|spool worn"},
    {"Brush leak-detection fluid around the relay's seals and the seam of the unit with an output under pressure.", AIR, 3,
     "seal to atmosphere cut"},
    {"Take the relay off and look at its seals: present, seated, not cut, each in its own groove.", OFF, 6,
     "seal between outputs missing|seal to atmosphere cut|outputs crossed"},
    {"Shut the actuator's isolating valves at mid travel and watch its pressure for a minute.", AIR, 2,
     "diaphragm leaking"},
    {"Compare the outputs' labels with the adaptor block.", OFF, 2, "outputs crossed"},
    {"Exchange the relay for one that is known to be good and run the relay procedures again.", OFF, 12,
     "relay seat leaks to output 1|relay seat leaks to output 2|seal between outputs missing|seal to atmosphere cut|nozzle partly blocked|coil open|coil weak|spool sticking|spool worn|outputs crossed"},
    {"Measure the coil's resistance, cold and after ten minutes under current, moving its lead.", EX, 12,
     "coil open|coil weak"},
    {"Look at the nozzle and its filter under a lens; blow it clean with dry air.", OFF, 8, "nozzle partly blocked"},
    {"Look whether the plug of sensor and coil is seated and locked.", EX, 1, "connector off"},
    {"Turn the shaft by hand and feel for play at the sensor's coupling; tighten its screw.", OFF, 3, "coupling slack"},
    {"Feel for play at the bench encoder's coupling with the shaft held.", OFF, 2, "encoder slack"},
    {"Turn the shaft slowly by hand past the angle that the sweep names and watch the ratio.", OFF, 4, "sensor track worn"},
    {"Set the sensor to the middle of its range with the shaft at its mark, then sweep again.", OFF, 8, "sensor disturbed"},
    {"Exchange the sensor and sweep again.", OFF, 20, "sensor track worn|sensor non-linear"},
    {"Measure the loop voltage at the unit's terminals while the current rises slowly from 3.5 mA.", EX, 4,
     "minimum current high|electronics dead"},
    {"Exchange the electronics for one that is known to be good.", EX, 20,
     "electronics dead|minimum current high|feedback drifted|self-adjustment never ends"},
    {"Check the auxiliary 24 V at its terminals.", EX, 2, "auxiliary circuit open"},
    {"Measure the feedback current with a second instrument at both end stops.", EX, 4, "feedback drifted"},
    {"Measure the lever from shaft to pin and compare it with the actuator's travel.", OFF, 3,
     "lever too short|lever too long"},
    {"Look whether the lever stands square to the stem at mid travel.", OFF, 3, "lever not parallel"},
    {"Move the actuator by regulator alone, without the unit, and watch at which pressures it starts.", AIR, 5,
     "actuator friction high"},
    {"Read the bench's source pressure, and again while the actuator strokes.", AIR, 1, "supply low|filter clogged"},
    {"Compare the flow sensor with the pressure rise in the known volume, driven up.", AIR, 5, "flow sensor drifted"},
    {"Compare the loop source with a calibrated meter at 4, 12 and 20 mA.", EX, 3, "loop source off calibration"},
    {"Look at the readings with all outputs off; check screens and earth of the bench.", EX, 5, "electrical noise"},
    {"Start the self-adjustment with the actuator connected and watch whether it comes to an end.", AIR, 5,
     "self-adjustment never ends"},
    {"Watch the bench's scan rate with nothing else on the line; exchange the adapter or shorten the line.", OFF, 5, "slow bus"},
};
/* clang-format on */

const struct es_fault_note *es_fault_note(const char *fault)
{
    for (size_t i = 0; i < sizeof notes / sizeof notes[0]; i++) {
        if (!strcmp(notes[i].fault, fault)) {
            return &notes[i];
        }
    }
    return NULL;
}

const struct es_check_note *es_check_notes(size_t *count)
{
    *count = sizeof checks / sizeof checks[0];
    return checks;
}
