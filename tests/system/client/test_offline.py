"""The verbs that need no daemon: check, explain, measure, verify, key; and how endstop answers wrong use."""
import gzip
import hashlib
import json
import math
import os
import subprocess
import tempfile
import unittest

SOURCE = os.path.abspath(os.path.join(os.path.dirname(__file__), "..", "..", ".."))
BUILD = os.environ.get("ES_BUILD_DIR", os.path.join(SOURCE, "build"))
ENDSTOP = os.path.join(BUILD, "rig", "client", "endstop")
LIBRARY = os.path.join(SOURCE, "procedures", "library")
TYPES = os.path.join(SOURCE, "procedures", "types")
BENCHES = os.path.join(SOURCE, "rig", "bench", "examples")


def endstop(*arguments, given=None, **environment):
    env = dict(os.environ, LC_ALL="C.UTF-8", **environment)
    return subprocess.run([ENDSTOP, *arguments], input=given, capture_output=True, text=True, timeout=60, env=env)


class Folder(unittest.TestCase):
    def setUp(self):
        self.temporary = tempfile.TemporaryDirectory(prefix="endstop-test-")
        self.addCleanup(self.temporary.cleanup)
        self.folder = self.temporary.name

    def path(self, name):
        return os.path.join(self.folder, name)

    def write(self, name, text):
        with open(self.path(name), "w") as f:
            f.write(text)
        return self.path(name)


class Use(Folder):
    def test_help_and_version(self):
        self.assertEqual(endstop("--version").stdout.split()[0], "endstop")
        everything = endstop("--help")
        self.assertEqual(everything.returncode, 0)
        for verb in ("check", "explain", "run", "stop", "reset", "bench", "certificate", "verify", "measure", "key"):
            self.assertIn(f"\n  {verb} ", everything.stdout)
            own = endstop(verb, "--help")
            self.assertEqual(own.returncode, 0, own.stderr)
            self.assertIn(f"Usage: endstop {verb}", own.stdout)
            self.assertIn("--help", own.stdout)

    def test_a_name_that_is_not_there(self):
        for verb in ("check", "explain"):
            said = endstop(verb, "nothere.json").stderr
            self.assertIn("there is no file nothere.json here;", said)
            self.assertNotIn(".json.", said)
            said = endstop(verb, "nothere").stderr
            self.assertIn("there is no file nothere here and no nothere.json or nothere.plan.json in ", said)
            self.assertIn("nothere/x.json", endstop(verb, "nothere/x.json").stderr)
        self.assertIn("there is no file nothere.json here;", endstop("check", LIBRARY + "/stroke.json", "--type", "nothere.json").stderr)

    def test_check_for_a_run_with_nobody_there(self):
        asks = self.write("ask.json", json.dumps({
            "endstop": "procedure/1", "name": "ask", "version": "1", "title": "Ask", "purpose": "Asks.",
            "cautions": ["Keep clear."], "needs": {"always": ["travel"]},
            "steps": [{"do": "ask", "text": "Look at it.", "at most": "60 s"},
                      {"do": "record", "name": "a", "roles": ["travel"], "rate": "10 Hz", "for": "5 s"}],
            "measurands": [{"measure": "level", "recordings": {"recording": "a"}, "with": {"channel": "travel"},
                            "results": [{"name": "travel", "output": "value", "limit": "travel"}]}]}))
        attended = endstop("check", asks)
        self.assertEqual(attended.returncode, 0, attended.stderr)
        alone = endstop("check", asks, "--unattended")
        self.assertEqual(alone.returncode, 2, alone.stdout)
        self.assertIn("ask.json:1:", alone.stderr)
        plan = endstop("check", LIBRARY + "/after-relay-swap.plan.json", "--unattended", "--bench", BENCHES + "/virtual-bench.json",
                       "--type", TYPES + "/linear-single-acting.json")
        self.assertEqual(plan.returncode, 0, plan.stderr)

    def test_wrong_use_is_exit_2_with_advice(self):
        cases = [
            ((), "Usage"),
            (("chekc",), 'did you mean "check"?'),
            (("xyzzy",), "--help"),
            (("check",), "FILE is missing"),
            (("check", "a", "b"), "one too many"),
            (("check", "a", "--benhc", "b"), "did you mean --bench?"),
            (("check", "nosuch"), "nosuch"),
            (("key", "destroy", "--state", "x"), "is none of create, show"),
            (("key", "show"), "--state DIR or by --key FILE"),
            (("certificate", "shwo"), "is none of list, show"),
            (("certificate", "list", "--json", "--csv"), "exclude each other"),
            (("verify",), "FILE is missing"),
            (("verify", "/nonexistent"), "/nonexistent"),
            (("measure", "x.csv"), "--measure NAME is missing"),
            (("measure", "x.csv", "--measure", "lvel"), 'did you mean "level"?'),
            (("run", "--plan", "a"), "--type NAME is missing"),
            (("run", "--plan", "a", "--type", "b", "--serial", ""), "--serial is empty"),
            (("run", "--plan", "a", "--type", "b", "--serial", "x" * 201), "at most 200"),
            (("run", "--plan", "a", "--type", "b", "--serial", "4711\r"), "--serial has a character that nobody can see (U+000D)"),
            (("run", "--plan", "a", "--type", "b", "--serial", "4711", "--lot", "\x1b[2J"), "--lot has a character that nobody"),
            (("run", "--plan", "a", "--type", "b", "--serial", "4711", "--tag", "\u202eAB"), "(U+202E)"),
            (("certificate", "list", "--since", "yesterday"), "expected a date"),
            (("certificate", "list", "--since", "2026-13"), "expected a date"),
            (("archive", "find", "--archive", "a.db", "--since", "yesterday"), "expected a date"),
        ]
        for arguments, words in cases:
            got = endstop(*arguments)
            self.assertEqual(got.returncode, 2, f"{arguments}: {got.stdout}{got.stderr}")
            self.assertIn(words, got.stderr, arguments)
            self.assertEqual(got.stdout, "", arguments)

    def test_no_daemon_is_exit_3_with_advice(self):
        got = endstop("bench", "--socket", self.path("none.sock"))
        self.assertEqual(got.returncode, 3)
        self.assertIn("start endstopd", got.stderr)

    def test_a_full_disk_is_not_success(self):
        with open("/dev/full", "w") as full:
            got = subprocess.run([ENDSTOP, "--help"], stdout=full, stderr=subprocess.PIPE)
            self.assertNotEqual(got.returncode, 0)
            got = subprocess.run([ENDSTOP, "explain", os.path.join(LIBRARY, "relay-leak.json")], stdout=full,
                                 stderr=subprocess.PIPE)
            self.assertNotEqual(got.returncode, 0)


class Files(Folder):
    def test_everything_shipped_is_accepted(self):
        for name in sorted(os.listdir(LIBRARY)):
            if name.endswith(".json"):
                got = endstop("check", os.path.join(LIBRARY, name))
                self.assertEqual(got.returncode, 0, got.stdout + got.stderr)
                got = endstop("explain", os.path.join(LIBRARY, name))
                self.assertEqual(got.returncode, 0, got.stderr)
                self.assertIn("confirmed before anything moves", got.stdout)
        for folder in (TYPES, BENCHES):
            for name in sorted(os.listdir(folder)):
                if name.endswith(".json"):
                    got = endstop("check", os.path.join(folder, name))
                    self.assertEqual(got.returncode, 0, got.stdout + got.stderr)

    def test_the_plan_is_proved_against_bench_and_type(self):
        arguments = ["check", os.path.join(LIBRARY, "after-relay-swap.plan.json"), "--bench",
                     os.path.join(BENCHES, "virtual-bench.json"), "--type",
                     os.path.join(TYPES, "linear-single-acting.json")]
        got = endstop(*arguments, "--json")
        self.assertEqual(got.returncode, 0, got.stderr)
        self.assertIsInstance(json.loads(got.stdout), dict)
        self.assertIn("ratio", endstop(*arguments).stdout)
        self.assertEqual(endstop(*arguments, "--station", "9").returncode, 2)

    def test_all_faults_at_once_with_their_places(self):
        with open(os.path.join(LIBRARY, "relay-leak.json")) as f:
            text = f.read()
        text = text.replace('"0 mA"', '"0 bar"').replace('"tare", "roles"', '"tare", "rolse"', 1)
        path = self.write("bad.json", text)
        got = endstop("check", path)
        self.assertEqual(got.returncode, 2)
        lines = [line for line in got.stderr.splitlines() if line.startswith(path + ":")]
        self.assertGreaterEqual(len(lines), 2, got.stderr)
        for line in lines:
            self.assertRegex(line, r":\d+:\d+: ")
        self.assertIn('"roles"', got.stderr)

    def test_a_command_over_the_ceiling_is_refused(self):
        with open(os.path.join(LIBRARY, "relay-leak.json")) as f:
            document = json.load(f)
        for step in document["steps"]:
            if step.get("to") == "nominal supply":
                step["to"] = "9.5 bar"
        path = self.write("high.json", json.dumps(document))
        got = endstop("check", path, "--bench", os.path.join(BENCHES, "virtual-bench.json"), "--type",
                      os.path.join(TYPES, "linear-single-acting.json"))
        self.assertEqual(got.returncode, 2, got.stdout)
        self.assertIn("9.5 bar", got.stderr)


class Keys(Folder):
    def test_created_once_readable_by_its_owner_only(self):
        state = self.path("state")
        made = endstop("key", "create", "--state", state, "--json")
        self.assertEqual(made.returncode, 0, made.stderr)
        key = json.loads(made.stdout)
        self.assertEqual(key["jwk"]["kid"], key["thumbprint"])
        private = os.path.join(state, "keys", "bench.pem")
        self.assertEqual(os.stat(private).st_mode & 0o777, 0o600)
        with open(private) as f:
            before = f.read()
        again = endstop("key", "create", "--state", state)
        self.assertNotEqual(again.returncode, 0)
        self.assertIn("never overwritten", again.stderr)
        with open(private) as f:
            self.assertEqual(f.read(), before)
        self.assertNotIn(before.splitlines()[1], made.stdout, "the private half was printed")

    def test_openssl_reads_both_halves(self):
        path = self.path("k.pem")
        self.assertEqual(endstop("key", "create", "--key", path).returncode, 0)
        shown = endstop("key", "show", "--key", path, "--pem").stdout
        derived = subprocess.run(["openssl", "pkey", "-in", path, "-pubout"], capture_output=True, text=True)
        self.assertEqual(derived.stdout, shown, derived.stderr)
        for public in ("k.pub.pem", "k.pub.jwk"):
            self.assertEqual(endstop("key", "show", "--key", self.path(public), "--pem").stdout, shown)

    def test_a_private_key_that_others_can_read_is_refused(self):
        path = self.path("k.pem")
        endstop("key", "create", "--key", path)
        os.chmod(path, 0o640)
        got = endstop("key", "show", "--key", path)
        self.assertNotEqual(got.returncode, 0)
        self.assertEqual(got.stdout, "")


class Verify(Folder):
    def test_what_is_no_certificate(self):
        path = self.write("x.json", '{"hello": 1}')
        got = endstop("verify", path)
        self.assertEqual(got.returncode, 2, got.stdout)
        self.assertIn("NOT VALID", got.stdout)
        self.assertEqual(endstop("verify", "-", given="not json").returncode, 2)
        self.assertEqual(endstop("verify", path, "--key", path).returncode, 2)


class Measure(Folder):
    TAU, DEAD = 0.8, 0.3

    def recording(self, separator=";", decimal="."):
        rows = [separator.join(("time [s]", "loop demand [mA]", "travel [mm]"))]
        for i in range(2001):
            t = i * 0.01
            y = 0 if t < 2 + self.DEAD else 15 * (1 - math.exp(-(t - 2 - self.DEAD) / self.TAU))
            numbers = (f"{t:.3f}", "4" if t < 2 else "12", f"{y:.6f}")
            rows.append(separator.join(n.replace(".", decimal) for n in numbers))
        return "\n".join(rows) + "\n"

    def kept(self, unfit=None):
        """A recording as a run keeps it (docs/recording-file.md); its path."""
        head = {"endstop": "recording/1", "name": "at rest", "procedure": "level", "duration": 2.0,
                "series": [{"role": "travel", "dimension": "length", "samples": 20, "uncertainty": {"offset": 1e-5}}],
                "writes": []}
        if unfit:
            head["unfit"] = unfit
        rows = [f"0,{0.1 * i!r},{0.01 + 1e-6 * (i % 2)!r},good" for i in range(20)]
        text = "\n".join([json.dumps(head), "series,t/s,value in the coherent unit,quality", *rows, ""]).encode()
        path = self.path(hashlib.sha256(text).hexdigest() + ".recording.gz")
        with open(path, "wb") as f:
            f.write(gzip.compress(text))
        return path

    def test_kept_recording(self):
        level = ("--measure", "level", "--set", "channel=travel")
        got = endstop("measure", self.kept(), *level, "--json")
        self.assertEqual(got.returncode, 0, got.stderr)
        value = {v["output"]: v for v in json.loads(got.stdout)["values"]}["value"]
        self.assertAlmostEqual(value["value"], 0.0100005 if value["unit"] == "m" else 10.0005, 9)
        self.assertGreaterEqual(value["u"], 1e-5)
        got = endstop("measure", self.kept("the supply fell to 3.1 bar"), *level)
        self.assertEqual(got.returncode, 1, got.stdout)
        self.assertIn("unfit to be measured: the supply fell to 3.1 bar", got.stderr)

    def measured(self, path, *more):
        got = endstop("measure", path, "--measure", "step response", "--set", "demand=loop demand", "--set",
                      "response=travel", "--json", *more)
        self.assertIn(got.returncode, (0, 1), got.stderr)
        return {v["output"]: v for v in json.loads(got.stdout)["values"]}

    def test_first_order_step_with_dead_time(self):
        """T(p) = dead time - tau ln(1 - p), closed form."""
        values = self.measured(self.write("step.csv", self.recording()))
        for output, share in (("T63", 0.632), ("T86", 0.865), ("T98", 0.98)):
            exact = self.DEAD - self.TAU * math.log(1 - share)
            self.assertTrue(values[output]["valid"], values[output])
            self.assertAlmostEqual(values[output]["value"], exact, delta=0.02, msg=output)
            self.assertLessEqual(abs(values[output]["value"] - exact), 2 * values[output]["U"] + 1e-3, output)
        self.assertAlmostEqual(values["dead time"]["value"], self.DEAD, delta=0.02)

    def test_decimal_commas_read_the_same(self):
        point = self.measured(self.write("point.csv", self.recording()))
        comma = self.measured(self.write("comma.csv", self.recording(decimal=",")))
        self.assertEqual(point, comma)

    def test_columns_by_number_and_standard_input(self):
        text = "\n".join(self.recording().splitlines()[1:]) + "\n"
        got = endstop("measure", "-", "--measure", "level", "--set", "channel=travel", "--column", "time=1 [s]", "--column",
                      "travel=3 [mm]", "--set", "from=15 s", "--csv", given=text)
        self.assertEqual(got.returncode, 0, got.stderr)
        row = got.stdout.splitlines()[1].split(",")
        self.assertEqual(row[0], "value")
        self.assertAlmostEqual(float(row[1]), 15, delta=1e-3)
        self.assertEqual(row[5], "mm")

    def test_faults_of_the_file_have_places(self):
        path = self.write("bad.csv", "time [s];travel [furlong]\n0;1\n1;x\n")
        got = endstop("measure", path, "--measure", "level", "--set", "channel=travel")
        self.assertEqual(got.returncode, 2)
        self.assertRegex(got.stderr, r"bad\.csv:1:\d+: ")

    def test_list_tells_what_each_measure_takes_and_gives(self):
        got = endstop("measure", "--list")
        self.assertEqual(got.returncode, 0)
        names = [line[:20].strip() for line in got.stdout.split("\n\n")[0].splitlines() if line[0] != " "]
        self.assertEqual(len(names), 19, names)
        for name in names:
            one = endstop("measure", "--list", "--measure", name)
            self.assertEqual(one.returncode, 0, one.stderr)
            for part in (f"{name}: ", "\n  Source: ", "\n  Recordings\n    FILE ", "\n  Settings\n    --set ", "\n  Gives\n    "):
                self.assertIn(part, one.stdout, name)
            self.assertEqual(endstop("measure", "--list", name).stdout, one.stdout)
        capacity = endstop("measure", "--list", "capacity").stdout
        for words in ('--trace "exhaust=FILE"', '--fact "ambient pressure=VALUE +- U"', "conductance deliver [dm3/(s bar)]",
                      "a time in s, us, ms"):
            self.assertIn(words, capacity)
        self.assertIn('did you mean "level"?', endstop("measure", "--list", "lvel").stderr)

    def test_missing_settings_are_named_at_once_with_what_they_take(self):
        path = self.write("x.csv", "time [s];travel [mm]\n0;1\n1;2\n")
        got = endstop("measure", path, "--measure", "difference", "--set", "settle=2 mm", "--set", "setle=2 s", "--set",
                      "to=1 s", "--set", "to=2 s")
        self.assertEqual(got.returncode, 2)
        for words in ('no --set "channel=..."; expected a channel (the series), such as --set "channel=',
                      'no --set "reference channel=..."; expected a channel', '--set "settle=2 mm": found "2 mm"; expected a time in',
                      'Did you mean "settle"?', '--set "to=2 s": found the setting "to" a second time', "5 faults"):
            self.assertIn(words, got.stderr)
        self.assertNotIn("--set:1:1", got.stderr)

    def test_what_was_not_given_is_named_beside_a_missing_value(self):
        path = self.write("y.csv", "time [s];travel [mm]\n0;1\n1;2\n")
        got = endstop("measure", path, "--measure", "relay leak")
        self.assertEqual(got.returncode, 1, got.stderr)
        said = " ".join(got.stderr.split())
        for words in ('--column "output 1 flow=COLUMN [UNIT]"', '--fact "output 1 volume=VALUE +- U"', '--trace "rise tare=FILE"'):
            self.assertIn(words, said)


if __name__ == "__main__":
    unittest.main(verbosity=2)
