#!/usr/bin/python3
"""A small study whose bounds fail when detection gets worse; and the verb's manners.

The bounds are those of the study's aims where they are met, and the state reached where they are not yet: a change that
makes a figure worse than a bound has to be looked at, not the bound moved. All numbers follow from the seed."""

import json
import os
import signal
import subprocess
import sys
import tempfile
import time

import jsonschema

ENDSTOP, ROOT = sys.argv[1], sys.argv[2]
SHIPPED = ["--plan", ROOT + "/procedures/library/after-relay-swap.plan.json",
           "--type", ROOT + "/procedures/types/linear-single-acting.json",
           "--type", ROOT + "/procedures/types/part-turn-double-acting.json",
           "--bench", ROOT + "/rig/bench/examples/virtual-bench.json",
           "--bench", ROOT + "/rig/bench/examples/virtual-bench-part-turn.json"]
FAILED = []

# Faults that the plan has to find in every unit, at the severities drawn here (at and above what matters).
ALWAYS = ["relay seat leaks to output 1", "relay seat leaks to output 2", "outputs crossed", "sensor track worn",
          "sensor disturbed", "coupling slack", "connector off", "minimum current high", "auxiliary circuit open",
          "lever too short", "lever too long", "lever not parallel", "coil weak", "sensor non-linear",
          "electronics dead", "spool worn", "seal between outputs missing", "seal to atmosphere cut",
          "nozzle partly blocked", "coil open", "feedback drifted", "diaphragm leaking"]
NEVER_ENDS = "self-adjustment never ends"  # matters from 0.75


def check(good, text):
    print(("good:  " if good else "WRONG: ") + text)
    if not good:
        FAILED.append(text)


def study(*options, status=0):
    done = subprocess.run([ENDSTOP, "study"] + SHIPPED + list(options), capture_output=True, text=True)
    check(done.returncode == status, "exit status %d of: study %s%s" %
          (done.returncode, " ".join(options), "" if done.returncode == status else "\n" + done.stderr))
    return done


def schema(name, document):
    with open(ROOT + "/docs/schema/" + name, encoding="utf-8") as f:
        jsonschema.Draft202012Validator(json.load(f)).validate(document)


def bounds():
    options = []
    for fault in ALWAYS:
        options += ["--fault", fault]
    one = study("--units", "48", "--good", "33 %", "--from", "0.66", "--seed", "71", "--json", "--coverage", "10", "--threads", "1")
    two = study("--units", "48", "--good", "33 %", "--from", "0.66", "--seed", "71", "--json", "--coverage", "10", "--threads", "3")
    check(one.stdout == two.stdout, "the same bytes from one thread and from three")
    report = json.loads(one.stdout)
    schema("study-1.schema.json", report)
    good = report["good"]["all"]
    check(good["units"] == 14 and good["failed"] == 0, "no good unit of %d failed" % good["units"])
    check(good["held"] <= 1, "at most one good unit of %d held" % good["units"])
    check(report["bench time of a good unit in s"]["longest"] < 720, "a good unit takes less than 12 minutes")
    check(report["coverage of faulty units"] == [], "no truths of faulty units unless asked for")
    bad = [c["measurand"] for c in report["coverage"]
           if c["values"] >= 7 and c["share covered"] < 0.4 and c["procedure"] != "step response"]
    check(not bad, "no interval is hopelessly narrow: %s" % bad)

    found = json.loads(study("--units", "44", "--good", "0 %", "--from", "0.66", "--seed", "72", "--json",
                             "--coverage", "0", "--coverage-faulty", "4", *options).stdout)
    schema("study-1.schema.json", found)
    told = {c["measurand"]: c for c in found["coverage of faulty units"]}
    check(found["coverage"] == [] and told["usable range of the sensor"]["values"] >= 3,
          "truths of faulty units only: %s" % told["usable range of the sensor"])
    for f in found["faults"]:
        all_units = f["all"]
        check(all_units["failed"] == all_units["units"],
              "%s, %s: found in %d of %d" % (f["type"], f["fault"], all_units["failed"], all_units["units"]))

    endless = json.loads(study("--units", "4", "--good", "0 %", "--from", "0.75", "--seed", "78", "--json", "--coverage", "0",
                               "--fault", NEVER_ENDS).stdout)
    found = endless["unit and mounting faults that matter"]
    check(found["units"] == 4 and found["failed"] == 4, "%s: found in %d of 4" % (NEVER_ENDS, found["failed"]))

    # A drifted flow sensor is the bench's matter: noticed, and not blamed on the unit. So is noise.
    bench = json.loads(study("--units", "16", "--good", "0 %", "--from", "0.3", "--seed", "76", "--json", "--coverage", "0",
                             "--fault", "flow sensor drifted", "--fault", "electrical noise").stdout)
    for f in bench["faults"]:
        check(f["all"]["held"] == f["all"]["units"], "%s, %s: kept back in %d of %d, blamed in %d" %
              (f["type"], f["fault"], f["all"]["held"], f["all"]["units"], f["all"]["failed"]))


def table():
    with tempfile.TemporaryDirectory() as folder:
        file = os.path.join(folder, "detection.json")
        study("--units", "40", "--good", "20 %", "--seed", "73", "--learn", file, "--coverage", "0")
        with open(file, encoding="utf-8") as f:
            document = json.load(f)
        schema("detection-2.schema.json", document)
        check([p["plan"] for p in document["plans"]] == ["after relay swap"], "one study, one plan")
        done = study("--units", "12", "--good", "0 %", "--seed", "74", "--table", file, "--json", "--coverage", "0",
                     "--fault", "connector off", "--fault", "outputs crossed")
        named = json.loads(done.stdout)["causes named"]
        check(named["units"] == 12 and named["right among three"] == 12, "right cause among three: %s" % named)
        shown = study("--seed", "74", "--table", file, "--unit", "0", "--good", "0 %", "--fault", "connector off").stdout
        check("connector off" in shown and "next check:" in shown, "one unit shows its causes and the next check")
        with open(file, "w", encoding="utf-8") as f:
            f.write('{"endstop": "detection/2"}')
        done = study("--units", "2", "--table", file, status=2)
        check("detection.json:1:1" in done.stderr, "a bad table is refused with file and place")


def other_plans():
    """A spare relay module and the self-proof block: studied like units, and kept in one table."""
    relay = ["--bench", ROOT + "/rig/bench/examples/virtual-bench-relay.json", "--coverage", "0", "--seed", "77"]
    module = ["--plan", ROOT + "/procedures/library/incoming-relay-module.plan.json", "--type",
              ROOT + "/procedures/types/relay-module-double-acting.json"] + relay
    block = ["--plan", ROOT + "/procedures/library/bench-self-proof.plan.json", "--type",
             ROOT + "/procedures/types/self-proof-block.json"] + relay

    def other(*options):
        return subprocess.run([ENDSTOP, "study"] + list(options), capture_output=True, text=True)

    with tempfile.TemporaryDirectory() as folder:
        file = os.path.join(folder, "detection.json")
        first = other(*block, "--units", "120", "--good", "20 %", "--mattering", "--learn", file)
        second = other(*module, "--units", "40", "--good", "20 %", "--mattering", "--learn", file, "--keep", file)
        check(first.returncode == 0 and second.returncode == 0, "two plans learned: %s" % (first.stderr + second.stderr)[-300:])
        with open(file, encoding="utf-8") as f:
            document = json.load(f)
        schema("detection-2.schema.json", document)
        check([p["plan"] for p in document["plans"]] == ["incoming spare relay module", "bench self-proof"],
              "the table keeps what it knew of another plan")
        check([p["types"][0]["kind"] for p in document["plans"]] == ["relay module", "self-proof block"], "kinds are told apart")
        done = other(*block, "--units", "6", "--good", "0 %", "--from", "0.5", "--fault", "fitting leaks on output 2", "--table", file,
                     "--json")
        report = json.loads(done.stdout)
        schema("study-1.schema.json", report)
        named = report["causes named"]
        check(report["faults"][0]["judged"] and report["unit and mounting faults"]["failed"] == 6, "the block judges the bench")
        check(named["units"] == 6 and named["units of unknown types"] == 0, "the table knows the block: %s" % named)
        refused = other(*block, "--units", "2", "--keep", file)
        check(refused.returncode == 2 and "--keep goes with --learn" in refused.stderr, "--keep alone is refused")


def shipped():
    with open(ROOT + "/procedures/judgement/detection.json", encoding="utf-8") as f:
        document = json.load(f)
    schema("detection-%s.schema.json" % document["endstop"][-1], document)
    done = study("--units", "24", "--good", "0 %", "--from", "0.5", "--seed", "75", "--coverage", "0", "--json", "--table",
                 ROOT + "/procedures/judgement/detection.json", "--fault", "relay seat leaks to output 1",
                 "--fault", "outputs crossed", "--fault", "sensor track worn", "--fault", "lever not parallel")
    named = json.loads(done.stdout)["causes named"]
    # 22 and 22 on the plan's version 4 (a track worn where the unit works makes it hunt); one less is left to the last
    # digits of other machines.
    check(named["units of unknown types"] == 0, "the shipped table of detection knows the shipped types")
    check(named["units"] == 24 and named["first right"] >= 21 and named["right among three"] >= 21,
          "the shipped table names plain causes (learn it anew when procedures have changed): %s" % named)


def manners():
    check("moonshine" in study("--units", "2", "--fault", "moonshine", status=2).stderr, "unknown fault refused")
    study("--units", "2", "--json", "--csv", status=2)
    study("--units", "2", "--seed", "seven", status=2)
    with tempfile.TemporaryDirectory() as folder:
        os.symlink("/dev/full", folder + "/device")
        for file, words in (("device", "is a device"), (".", "is a folder"), ("none/table.json", "is not there")):
            refused = study("--units", "100000", "--learn", os.path.join(folder, file), status=2).stderr
            check(words in refused and " units" not in refused, "refused before any unit is run: %s" % refused)
    rows = study("--units", "4", "--csv", "--coverage", "0").stdout.splitlines()
    check(len(rows) == 5, "one row a unit")
    running = subprocess.Popen([ENDSTOP, "study"] + SHIPPED + ["--units", "100000"], stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True)
    time.sleep(1)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    check(running.returncode == 3 and not out and "stopped after" in err, "ctrl-C stops it: %s" % err[-100:])


bounds()
table()
other_plans()
shipped()
manners()
if FAILED:
    sys.exit("%d failed" % len(FAILED))
