#!/usr/bin/python3
"""Learns the shipped table of detection anew, or writes the tables of docs/study.md from fresh studies.

    rig/study/renew.py BUILD learn [PLAN...]   procedures/judgement/detection.json, with the tuning seed 50: all plans, or
                                               only those named, the others kept
    rig/study/renew.py BUILD report SEED...    the part of docs/study.md between its first two marks
    rig/study/renew.py BUILD plans SEED        the part between its last two marks: the other plans, smaller

BUILD is a folder in which "endstop" was built. Everything else is taken from the tree that this file is in. Uses all
cores: some minutes on a quiet machine of two."""

import json
import math
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
TABLE = ROOT / "procedures/judgement/detection.json"
PAGE = ROOT / "docs/study.md"
BEGIN, END = "<!-- written by rig/study/renew.py -->\n", "<!-- end -->\n"
PLANS_BEGIN, PLANS_END = "<!-- other plans, written by rig/study/renew.py -->\n", "<!-- end of other plans -->\n"
TYPES = ["linear-single-acting", "part-turn-double-acting", "linear-double-acting", "linear-single-acting-plain",
         "part-turn-single-acting"]
BENCHES = ["virtual-bench", "virtual-bench-part-turn", "virtual-bench-relay"]
MODULES = ["relay-module-single-acting", "relay-module-double-acting"]
# Each plan with the types that it is for, how many units teach it, and how many are reported of it. More units make a larger
# table: a document has 4 MB at most (rig/base/document.h).
PLANS = {"after-relay-swap": (TYPES, 7000, 2000),
         "incoming-complete-unit": (TYPES, 1500, 600),
         "returned-unit-audit": (TYPES, 1500, 600),
         "incoming-relay-module": (MODULES, 1500, 600),
         "endurance-cycling": (TYPES, 400, 200),
         "bench-self-proof": (["self-proof-block"], 600, 300)}
# Good units more, for coverage alone: with those of the study itself (160 of each type) some 1,500 intervals of every
# measurand from two seeds, so that 95 % is known to 1.1 %. Output 2 is of double-acting types only.
MORE = [(215, ["part-turn-double-acting", "linear-double-acting"]),
        (90, ["linear-single-acting", "linear-single-acting-plain", "part-turn-single-acting"])]


def study(build, *options, types=TYPES, plan="after-relay-swap"):
    command = [pathlib.Path(build) / "rig/client/endstop", "study", "--plan", ROOT / f"procedures/library/{plan}.plan.json"]
    for name in types:
        command += ["--type", ROOT / f"procedures/types/{name}.json"]
    for name in BENCHES:
        command += ["--bench", ROOT / f"rig/bench/examples/{name}.json"]
    return subprocess.run(command + list(options), check=True, stdout=subprocess.PIPE, text=True).stdout


def percent(share):
    # 100.0 % must not come from rounding
    return "-" if share is None else f"{99.9 if 0.9994 < share < 1 else 100 * share:.1f} %"


def part(k, n):
    return percent(k / n if n else None)


def row(what, count, among, shares, aim=""):
    share, lower, upper = shares
    interval = "-" if among == 0 else f"{100 * lower:.1f} .. {100 * upper:.1f} %"
    return f"| {what} | {count} of {among} | {percent(share if among else None)} | {interval} | {aim} |"


def failed_row(what, count, aim=""):
    return row(what, count["failed"], count["units"], (count["share failed"], count["lower"], count["upper"]), aim)


def overall(report):
    """The table that answers the aims, one row a figure."""
    good, bench = report["good"]["all"], report["bench faults"]
    matters, named = report["unit and mounting faults that matter"], report["causes named"]
    lines = ["| figure | counted | share | 95 % interval | aim |", "| --- | --- | --- | --- | --- |",
             failed_row("good units failed", good, "<= 0.5 %"),
             f"| good units neither passed nor failed | {good['held']} of {good['units']} | "
             f"{part(good['held'], good['units'])} | | |",
             failed_row("faults of unit or mounting found, from the severity that matters", matters, ">= 99 %"),
             f"| the same kept from passing (failed or not tested) | {matters['failed'] + matters['held']} of "
             f"{matters['units']} | {part(matters['failed'] + matters['held'], matters['units'])} | | |",
             failed_row("faults of unit or mounting found, any severity", report["unit and mounting faults"]),
             failed_row("bench faults blamed on a good unit", bench, "<= 0.5 %"),
             f"| bench faults that kept a result back | {bench['held']} of {bench['units']} | "
             f"{part(bench['held'], bench['units'])} | | |",
             row("first-named cause right, of those that did not pass", named["first right"], named["units"],
                 (named["share first right"], named["lower"], named["upper"]), ">= 95 %"),
             f"| right one among the first three | {named['right among three']} of {named['units']} | "
             f"{part(named['right among three'], named['units'])} | | |",
             f"| bench faults: a cause of the bench named first | {named['cause of the bench first']} of "
             f"{named['units with bench faults']} | "
             f"{part(named['cause of the bench first'], named['units with bench faults'])} | | |"]
    return lines


def by_type(report):
    lines = ["| type | good units failed | held | found, from the severity that matters | bench faults blamed |",
             "| --- | --- | --- | --- | --- |"]
    for i, kind in enumerate(report["types"]):
        good = report["good"]["by type"][i]
        faults = [f for f in report["faults"] if f["type"] == kind["name"]]
        found = [f["mattering"] for f in faults if f["judged"]]
        bench = [f["all"] for f in faults if not f["judged"]]
        lines.append(f"| {kind['name']} | {good['failed']} of {good['units']} | {good['held']} | "
                     f"{sum(f['failed'] for f in found)} of {sum(f['units'] for f in found)} | "
                     f"{sum(f['failed'] for f in bench)} of {sum(f['units'] for f in bench)} |")
    return lines


def by_fault(reports):
    """Over all types and seeds."""
    sums = {}
    for report in reports:
        for f in report["faults"]:
            s = sums.setdefault((f["fault"], f["place"]), {"matters": f["matters from"], "n": 0, "failed": 0, "held": 0, "worst": 0})
            of = f["all"] if f["place"] == "bench" else f["mattering"]
            s["n"] += of["units"]
            s["failed"] += of["failed"]
            s["held"] += of["held"]
            s["worst"] = max(s["worst"], f["largest severity passed"] or 0)
    lines = ["| fault | of the | matters from | units | failed | not tested | passed up to severity |",
             "| --- | --- | --- | --- | --- | --- | --- |"]
    for (fault, place), s in sums.items():
        lines.append(f"| {fault} | {place} | {s['matters'] or 'any'} | {s['n']} | {s['failed']} | {s['held']} | "
                     f"{s['worst']:.2f} |")
    return lines + ["", "*units*: of unit and mounting those from the severity that matters, of the bench all. "
                        "*Failed* of a bench fault is a unit blamed for it."]


def confusions(reports):
    sums = {}
    for report in reports:
        for c in report["causes named"]["confused"]:
            key = (c["fault"], "no fault" if c["first named"] == "good" else c["first named"])
            sums[key] = sums.get(key, 0) + c["units"]
    if not sums:
        return ["No cause was named wrongly."]
    ordered = sorted(sums.items(), key=lambda item: (-item[1], item[0]))
    return ["Named first in place of the right cause: " +
            "; ".join(f"{named} for {fault} {n}" for (fault, named), n in ordered) + "."]


def wilson(k, n):
    """95 % interval of a share (Wilson 1927), as procedures/judgement/binomial.h has it."""
    z = 1.959964
    middle, half = k + z * z / 2, z * math.sqrt(k * (n - k) / n + z * z / 4)
    return f"{100 * (middle - half) / (n + z * z):.1f} .. {100 * (middle + half) / (n + z * z):.1f} %"


def pooled(reports, member):
    """Over types and seeds: by measurand, intervals and covered of all, and of those away from zero."""
    sums = {}
    for report in reports:
        for c in report[member]:
            s = sums.setdefault(c["measurand"], [0, 0, 0, 0])
            for i, key in enumerate(["values", "covered", "values away from zero", "covered away from zero"]):
                s[i] += c[key]
    return sums


def coverage(reports):
    """Intervals that cover less or more than they claim; of faulty units those away from zero."""
    faulty = pooled(reports, "coverage of faulty units")
    lines = ["| measurand | intervals | covered | 95 % interval | faulty units, away from 0 | covered |",
             "| --- | --- | --- | --- | --- | --- |"]
    for name, (n, k, _, _) in pooled(reports, "coverage").items():
        if n > 0:
            _, _, far, far_covered = faulty.get(name, (0, 0, 0, 0))
            lines.append(f"| {name} | {n} | {part(k, n)} | {wilson(k, n)} | {far} | {part(far_covered, far)} |")
    return lines


def page(reports, more):
    plan = reports[0]["plan"]
    lines = [f"Plan *{plan['name']}* version {plan['version']} on all five complete types, taking turns; causes by the shipped "
             f"table. These seeds were never looked at before.", ""]
    for report in reports:
        time = report["bench time of a good unit in s"]
        lines += [f"Seed {report['seed']}, {report['units']} units; bench time of a good unit {time['mean'] / 60:.1f} min, at "
                  f"most {time['longest'] / 60:.1f} min:", ""] + overall(report) + [""] + by_type(report) + [""]
    lines += ["### By fault, all types and seeds", ""] + by_fault(reports) + [""] + confusions(reports) + [""]
    if any(report["coverage"] for report in reports):
        lines += ["### Intervals that cover the truth, all types and seeds", ""] + coverage(reports + more) + [""]
    return "\n".join(lines) + "\n"


def report(build, seed, units=2000, truths=160):
    return json.loads(study(build, "--units", str(units), "--seed", seed, "--coverage", str(truths), "--coverage-faulty", "120",
                            "--table", TABLE, "--json"))


def more_good(build, seed):
    """Under seeds of their own, that start with the report's: the same seed would draw some of its units again."""
    return [json.loads(study(build, "--units", str(each * len(types)), "--seed", f"{seed}00{i + 1}", "--good", "100 %",
                             "--coverage", str(each), "--json", types=types)) for i, (each, types) in enumerate(MORE)]


def write_report(build, seeds):
    reports, more = [], []
    for seed in seeds:
        reports.append(report(build, seed))
        more += more_good(build, seed)
    text = PAGE.read_text(encoding="utf-8")
    before, rest = text.split(BEGIN)
    after = rest.split(END)[1]
    PAGE.write_text(before + BEGIN + page(reports, more) + END + after, encoding="utf-8")


def other_plan(name, build, seed):
    """One row of each figure for one plan, and what was missed or blamed."""
    types, _, units = PLANS[name]
    r = json.loads(study(build, "--units", str(units), "--seed", seed, "--coverage", "0", "--table", TABLE, "--json", types=types,
                         plan=name))
    good, matters, bench, named = r["good"]["all"], r["unit and mounting faults that matter"], r["bench faults"], r["causes named"]
    time = r["bench time of a good unit in s"]
    row = (f"| {r['plan']['name']} {r['plan']['version']} | {units} | {good['failed']} of {good['units']}; {good['held']} | "
           f"{matters['failed']} of {matters['units']}; {matters['held']} | {bench['failed']} of {bench['units']} | "
           f"{named['first right']} of {named['units']} | {named['right among three']} | {time['mean'] / 60:.1f} min |")
    missed = {}
    for f in r["faults"]:
        n = f["mattering"]["units"] - f["mattering"]["failed"] if f["judged"] else f["all"]["failed"]
        if n:
            key = f["fault"] + ("" if f["judged"] else " (blamed)")
            held = f["mattering"]["held"] if f["judged"] else 0
            old = missed.get(key, (0, 0, 0))
            missed[key] = (old[0] + n, old[1] + held, old[2] + (f["mattering"] if f["judged"] else f["all"])["units"])
    return row, [f"- *{r['plan']['name']}*: {fault}: {n} of {of}" + (f", {held} of them not tested" if held else "")
                 for fault, (n, held, of) in missed.items()]


def write_plans(build, seed):
    lines = [f"Seed {seed}, never looked at before; causes by the shipped table.", "",
             "| plan | units | good units failed; held | found from the severity that matters; held | bench faults blamed | "
             "first cause right | right one among three | bench time |", "| --- | --- | --- | --- | --- | --- | --- | --- |"]
    notes = []
    for name in list(PLANS)[1:]:
        row, more = other_plan(name, build, seed)
        lines.append(row)
        notes += more
    if notes:
        lines += ["", "Not failed although it matters, or blamed:", ""] + notes
    text = PAGE.read_text(encoding="utf-8")
    before, rest = text.split(PLANS_BEGIN)
    after = rest.split(PLANS_END)[1]
    PAGE.write_text(before + PLANS_BEGIN + "\n".join(lines) + "\n" + PLANS_END + after, encoding="utf-8")


def learn(build, names):
    """Plans that are not named stay as they are; all anew: the first replaces the table."""
    for i, name in enumerate(names or PLANS):
        types, units, _ = PLANS[name]
        kept = ["--keep", TABLE] if names or i > 0 else []
        study(build, "--units", str(units), "--good", "15 %", "--mattering", "--seed", "50", "--coverage", "0", "--csv", "--learn",
              TABLE, *kept, types=types, plan=name)


def main(arguments):
    if len(arguments) >= 2 and arguments[1] == "learn" and all(a in PLANS for a in arguments[2:]):
        learn(arguments[0], arguments[2:])
    elif len(arguments) > 2 and arguments[1] == "report" and all(a.isdigit() for a in arguments[2:]):
        write_report(arguments[0], arguments[2:])
    elif len(arguments) == 3 and arguments[1] == "plans" and arguments[2].isdigit():
        write_plans(arguments[0], arguments[2])
    else:
        sys.exit(__doc__)


main(sys.argv[1:])
