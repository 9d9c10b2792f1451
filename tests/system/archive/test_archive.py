"""The archive with a real PostgreSQL on a socket of its own: outages, a server killed in the middle of a send, a sender killed
after its commit, two benches at once, the schema of version 1, and the same answers as SQLite."""
import glob
import json
import os
import pwd
import resource
import shutil
import signal
import socket
import sqlite3
import subprocess
import tempfile
import threading
import time
import unittest
import xml.etree.ElementTree

HERE = os.path.dirname(os.path.abspath(__file__))
ENDSTOP = os.environ["ES_ENDSTOP"]
PROBE = os.environ["ES_ARCHIVE_PROBE"]
QUESTIONS = (["find"], ["history", "EX-1"], ["pairs"], ["no-fault"], ["no-fault", "--by", "month"], ["failures"],
             ["failures", "--by", "type"], ["failures", "--by", "cause"], ["touched", "flow sensor 1", "--since", "2026-01-05T08:02"],
             ["chart", "leak of output 1, reading 1"], ["history", "EX-1", "--measurand", "leak of output 1, reading 1"],
             ["pairs", "leak of output 1, reading 1"], ["repeatability", "leak of output 1, reading 1", "--by", "person"],
             ["no-fault", "--by", "type", "--type", "linear-single-acting", "--since", "2026-01"])


def programs():
    found = sorted(glob.glob("/usr/lib/postgresql/*/bin/initdb"))
    if not found:
        raise AssertionError("no PostgreSQL server is installed (package postgresql)")
    return os.path.dirname(found[-1])


class Server:
    """As the user postgres when we are root, whom the server refuses."""

    def __init__(self):
        self.folder = tempfile.mkdtemp(prefix="endstop-pg-")
        self.data = os.path.join(self.folder, "data")
        self.as_user = []
        self.process = None
        if os.geteuid() == 0:
            user = pwd.getpwnam("postgres")
            os.chown(self.folder, user.pw_uid, user.pw_gid)
            self.as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--init-groups"]
        self.run(programs() + "/initdb", "-D", self.data, "-U", "bench", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N")
        self.start()

    def run(self, *command):
        done = subprocess.run([*self.as_user, *command], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd="/")
        assert done.returncode == 0, done.stdout

    @property
    def address(self):
        return f"postgresql://bench@/postgres?host={self.folder}"

    def psql(self, *more):
        done = subprocess.run(["psql", "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", self.address, *more], stdout=subprocess.PIPE,
                              stderr=subprocess.PIPE, text=True)
        return done

    def start(self):
        with open(os.path.join(self.folder, "server.log"), "a") as log:
            self.process = subprocess.Popen([*self.as_user, programs() + "/postgres", "-D", self.data, "-k", self.folder,
                                             "-c", "listen_addresses="], stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd="/")
        for _ in range(600):
            if self.psql("-c", "SELECT 1").returncode == 0:
                return
            if self.process.poll() is not None:  # children of a killed one may still be going
                time.sleep(0.2)
                return self.start()
            time.sleep(0.1)
        raise AssertionError("the server did not start: " + open(os.path.join(self.folder, "server.log")).read()[-2000:])

    def stop(self, how=signal.SIGINT):
        self.process.send_signal(how)
        self.process.wait()

    def close(self):
        self.stop(signal.SIGQUIT)
        shutil.rmtree(self.folder)


class LostAnswer(threading.Thread):
    """Stands before the server's socket and passes everything on, until the server has answered a COMMIT: that answer is kept back
    and both sides are hung up on."""

    def __init__(self, server):
        super().__init__(daemon=True)
        self.folder = tempfile.mkdtemp(prefix="endstop-lost-")
        self.behind = os.path.join(server.folder, ".s.PGSQL.5432")
        self.listener = socket.socket(socket.AF_UNIX)
        self.listener.bind(os.path.join(self.folder, ".s.PGSQL.5432"))
        self.listener.listen(1)
        self.lost = 0
        self.start()

    @property
    def address(self):
        return f"postgresql://bench@/postgres?host={self.folder}"

    def run(self):
        client, _ = self.listener.accept()
        server = socket.socket(socket.AF_UNIX)
        server.connect(self.behind)
        name, committing = None, False
        while not (committing and self.lost):
            said = client.recv(65536)
            if not said:
                break
            if said[:1] == b"P" and b"\0COMMIT\0" in said:  # Parse: length, name of the statement, its text
                name = said[5:said.index(b"\0", 5)]
            committing = name is not None and said[:1] == b"B" and b"\0" + name + b"\0" in said
            server.sendall(said)
            answer = server.recv(65536)
            while answer[-6:-1] != b"Z\0\0\0\x05":  # ready for the next query
                answer += server.recv(65536)
            if committing:
                self.lost += 1
            else:
                client.sendall(answer)
        client.close()
        server.close()
        self.listener.close()
        shutil.rmtree(self.folder)


class Archive(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.server = Server()

    @classmethod
    def tearDownClass(cls):
        cls.server.close()

    def setUp(self):
        self.folders = []
        done = self.server.psql("-c", "DROP SCHEMA public CASCADE; CREATE SCHEMA public")
        self.assertEqual(done.returncode, 0, done.stderr)

    def tearDown(self):
        for folder in self.folders:
            shutil.rmtree(folder)

    def make(self, n, first=0):
        folder = subprocess.run([PROBE, "make", str(n), str(first)], stdout=subprocess.PIPE, check=True, text=True).stdout.strip()
        self.folders.append(folder)
        return folder

    def endstop(self, *words):
        return subprocess.run([ENDSTOP, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def fill(self, folder, address=None):
        done = self.endstop("archive", "fill", "--state", folder, "--json", "--archive", address or self.server.address)
        self.assertEqual(done.returncode, 0, done.stderr)
        return json.loads(done.stdout)

    def count(self):
        return int(self.server.psql("-c", "SELECT COUNT(*) FROM certificates").stdout)

    def test_once(self):
        bench = self.make(4)
        self.assertEqual(self.fill(bench), {"logged": 4, "sent": 4, "new": 4, "left_out": 0})
        self.assertEqual(self.fill(bench)["sent"], 0)
        self.assertEqual(self.count(), 4)
        audit = self.endstop("audit", "integrity", "--quick", "--state", bench, "--archive", self.server.address, "--json")
        self.assertEqual((audit.returncode, json.loads(audit.stdout)["archive_rows"]), (0, 4), audit.stdout)
        self.server.psql("-c", "UPDATE certificates SET verdict = 'fail' WHERE number = 'EX-000002'")
        audit = self.endstop("audit", "integrity", "--quick", "--state", bench, "--archive", self.server.address, "--json")
        self.assertEqual([f["number"] for f in json.loads(audit.stdout)["findings"]], ["EX-000002"])
        self.assertEqual(audit.returncode, 1)

    def test_outage(self):
        bench = self.make(3)
        self.server.stop()
        try:
            done = self.endstop("archive", "fill", "--state", bench, "--archive", self.server.address)
            self.assertEqual(done.returncode, 3, done.stderr)
            self.assertIn("cannot be reached", done.stderr)
        finally:
            self.server.start()
        self.assertEqual(self.fill(bench)["new"], 3)
        self.assertEqual(self.count(), 3)

    def paused(self, bench, at):
        probe = subprocess.Popen([PROBE, "send", bench, self.server.address, str(at)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                 text=True)
        self.assertEqual(probe.stdout.readline(), "paused\n")
        return probe

    def test_server_killed_in_the_middle(self):
        bench = self.make(3)
        probe = self.paused(bench, 20)  # among the rows of the second certificate
        self.server.stop(signal.SIGKILL)
        self.server.start()
        out, _ = probe.communicate("go on\n")
        self.assertEqual(probe.returncode, 3, out)
        self.assertEqual(self.count(), 0, "half a send was kept")
        self.assertEqual(self.fill(bench)["new"], 3)
        self.assertEqual(self.count(), 3)

    def test_sender_killed_after_its_commit(self):
        bench = self.make(51)  # two transactions
        probe = self.paused(bench, -2)
        probe.kill()
        probe.communicate()
        self.assertEqual(self.count(), 50)
        self.assertEqual(self.fill(bench), {"logged": 51, "sent": 1, "new": 1, "left_out": 0})
        self.assertEqual(self.count(), 51)

    def test_answer_to_a_commit_lost(self):
        """Nobody told the bench that its certificates are in: it asks, and sends none twice."""
        bench = self.make(3)
        lost = LostAnswer(self.server)
        setup = self.make(1, 9)
        self.fill(setup)  # the schema is there: the first COMMIT is that of the send
        done = self.endstop("archive", "fill", "--state", bench, "--archive", lost.address)
        lost.join(10)
        self.assertEqual((lost.lost, done.returncode), (1, 3), done.stderr)
        self.assertEqual(self.count(), 4, "the server had committed")
        self.assertEqual(self.fill(bench), {"logged": 3, "sent": 0, "new": 0, "left_out": 0})
        self.assertEqual(self.count(), 4)

    def test_locked_by_somebody_else(self):
        """A row that another session holds: an answer after a while, no endless waiting; then it goes on."""
        bench = self.make(2)
        self.fill(bench)
        more = self.make(2, 5)
        holder = subprocess.Popen(["psql", "-X", "-q", self.server.address], stdin=subprocess.PIPE, text=True)
        holder.stdin.write("BEGIN; LOCK TABLE certificates;\n\\! echo\n")
        holder.stdin.flush()
        while self.server.psql("-c", "SELECT COUNT(*) FROM pg_locks WHERE mode = 'AccessExclusiveLock' AND relation = "
                               "'certificates'::regclass AND granted").stdout.strip() != "1":
            time.sleep(0.05)
        done = self.endstop("archive", "fill", "--state", more, "--archive", self.server.address + "&options=-c%20lock_timeout%3D300")
        self.assertEqual(done.returncode, 3)
        self.assertIn("busy", done.stderr)
        holder.communicate("ROLLBACK;\n")
        self.assertEqual(self.fill(more)["new"], 2)

    def test_killed_anywhere(self):
        """The sender is killed before statement after statement (SQLite): each certificate is there once in the end."""
        bench = self.make(3)
        local = os.path.join(bench, "archive.db")
        killed = 0
        for at in range(2, 400, 29):
            probe = subprocess.Popen([PROBE, "send", bench, local, str(at)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
            if probe.stdout.readline() != "paused\n":
                probe.communicate()
                break
            probe.kill()
            probe.communicate()
            killed += 1
            with sqlite3.connect(local) as database:
                self.assertEqual(database.execute("SELECT COUNT(*) FROM certificates").fetchone(), (0,))
                self.assertEqual(database.execute("PRAGMA integrity_check").fetchone(), ("ok",))
            database.close()
        self.assertGreater(killed, 1)
        self.assertEqual(self.fill(bench, local), {"logged": 3, "sent": 0, "new": 0, "left_out": 0}, "the last one was left alone")
        with sqlite3.connect(local) as database:
            self.assertEqual(database.execute("SELECT COUNT(*) FROM certificates").fetchone(), (3,))
        database.close()

    def test_no_room_for_the_file(self):
        """A limit on the size of files: where the signal ends the program, and where it is told."""
        bench = self.make(30)
        local = os.path.join(bench, "archive.db")
        self.fill(self.make(1, 90), local)
        limit = os.path.getsize(local) + 20000

        def small(ignore):
            def prepare():
                if ignore:
                    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
                resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            return subprocess.run([ENDSTOP, "archive", "fill", "--state", bench, "--archive", local], stdout=subprocess.PIPE,
                                  stderr=subprocess.PIPE, text=True, preexec_fn=prepare)
        self.assertEqual(small(False).returncode, -signal.SIGXFSZ)
        told = small(True)
        self.assertEqual(told.returncode, 3, told.stderr)
        self.assertIn("the archive failed", told.stderr)
        self.assertEqual(self.fill(bench, local)["new"], 30)
        with sqlite3.connect(local) as database:
            self.assertEqual(database.execute("SELECT COUNT(*) FROM certificates").fetchone(), (31,))
            self.assertEqual(database.execute("PRAGMA integrity_check").fetchone(), ("ok",))
        database.close()

    def test_all_benches_audited_at_once(self):
        benches = [self.make(4), self.make(3, 4)]
        keys = [word for b in benches for word in ("--key", os.path.join(b, "keys", "bench.pub.pem"))]
        for bench in benches:
            self.fill(bench)
        audit = ("audit", "archive", "--archive", self.server.address)
        done = self.endstop(*audit, *keys)
        self.assertEqual((done.returncode, done.stdout), (0, "2 benches, 7 entries in their logs, 7 certificates looked at: all as "
                                                             "logged\n"), done.stderr)
        self.assertEqual(self.endstop(*audit).returncode, 2, "without a key nothing can be said")
        self.server.psql("-c", "UPDATE certificates SET out_of_force = 'void' WHERE number = 'EX-000002'")
        done = self.endstop(*audit, *keys, "--json")
        self.assertEqual((done.returncode, {f["number"] for f in json.loads(done.stdout)["findings"]}), (1, {"EX-000002"}))

    def test_two_benches_at_once(self):
        benches = [self.make(9), self.make(9, 9)]
        running = [subprocess.Popen([ENDSTOP, "archive", "fill", "--state", b, "--archive", self.server.address],
                                    stdout=subprocess.DEVNULL) for b in benches]
        for process in running:
            process.wait()
        for bench in benches:  # one that lost against the other is sent again
            self.fill(bench)
        self.assertEqual(self.count(), 18)

    def test_the_same_answers_as_sqlite(self):
        bench = self.make(12)
        local = os.path.join(bench, "archive.db")
        self.fill(bench)
        self.fill(bench, local)
        for question in QUESTIONS:
            answers = [self.endstop("archive", *question, "--json", "--archive", a) for a in (self.server.address, local)]
            self.assertEqual([a.returncode for a in answers], [0, 0], (question, answers[0].stderr))
            self.assertEqual(answers[0].stdout, answers[1].stdout, question)
        self.assertGreater(len(json.loads(self.endstop("archive", "find", "--json", "--state", bench).stdout)), 11)

    def old_archives(self, version, bench):
        """Both databases as an earlier version left them, with certificates in them."""
        local = os.path.join(bench, f"version-{version}.db")
        with open(os.path.join(HERE, f"version-{version}.sql")) as f:
            script = f.read()
        old = sqlite3.connect(local)
        old.executescript(script.replace("@ID", "INTEGER PRIMARY KEY AUTOINCREMENT").replace("@BYTES", "BLOB").replace("@HEX(", "X'")
                          .replace(")@", "'"))
        old.close()
        text = (script.replace("@ID", "BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY").replace("@BYTES", "BYTEA")
                .replace("@HEX(", "'\\x").replace(")@", "'"))
        done = self.server.psql("-c", "DROP SCHEMA public CASCADE; CREATE SCHEMA public;" + text)
        self.assertEqual(done.returncode, 0, done.stderr)
        return local

    def test_plots_tables_and_refusals(self):
        bench = self.make(12)
        local = ("--archive", os.path.join(bench, "archive.db"))
        self.fill(bench, local[1])
        leak = "leak of output 1, reading 1"
        plot = os.path.join(bench, "plot.svg")
        for words in (["history", "EX-1", "--measurand", leak], ["pairs", leak], ["no-fault", "--by", "month"], ["failures"], ["chart", leak],
                      ["sampling", "1200", "--aql", "1.0"]):
            done = self.endstop("archive", *words, "--svg", plot, *([] if words[0] == "sampling" else local))
            self.assertEqual(done.returncode, 0, (words, done.stderr))
            root = xml.etree.ElementTree.parse(plot).getroot()
            self.assertTrue(root.tag.endswith("svg"), words)
            os.remove(plot)
            self.assertTrue(all(len(line) <= 100 for line in done.stdout.splitlines()), done.stdout)
        plan = json.loads(self.endstop("archive", "sampling", "1200", "--aql", "1.0", "--json").stdout)
        self.assertEqual((plan["letter"], plan["sample"], plan["accept"], plan["curve"][0]), ("J", 80, 2, {"bad": 0, "accepted": 1}))
        for words, expected in ((["find", "--svg", plot], "a table, not a plot"), (["history", "EX-1", "--svg", plot], "--measurand"),
                                (["chart"], "which measurand"), (["history"], "which serial number"), (["find", "x"], "no word after it"),
                                (["sampling", "many", "--aql", "1"], "number"), (["sampling", "50"], "--aql"),
                                (["sampling", "50", "--aql", "1.1"], "no AQL"), (["failures", "--by", "moon"], "not by")):
            done = self.endstop("archive", *words, *local)
            self.assertEqual(done.returncode, 2, (words, done.stdout, done.stderr))
            self.assertIn(expected, done.stderr)
            self.assertFalse(os.path.exists(plot))
        done = self.endstop("archive", "history", "EX-77", *local)
        self.assertEqual((done.returncode, done.stdout), (0, "The archive holds no certificate in force of serial number EX-77.\n"))

    def test_from_every_earlier_schema(self):
        for version, there in ((1, 2), (2, 3)):
            with self.subTest(version=version):
                bench = self.make(1)
                local = self.old_archives(version, bench)
                answers = []
                for address in (self.server.address, local):
                    done = self.endstop("archive", "history", "EX-1", "--archive", address)
                    self.assertEqual(done.returncode, 3, "reading must not change a schema")
                    self.assertIn("earlier Endstop", done.stderr)
                    self.assertEqual(self.fill(bench, address)["new"], 1)
                    self.assertEqual(self.fill(bench, address)["sent"], 0)
                    answers.append(self.endstop("archive", "history", "EX-1", "--json", "--archive", address).stdout)
                self.assertEqual(answers[0], answers[1])
                self.assertEqual([r["value"] for r in json.loads(answers[0]) if r["measurand"].endswith("reading 1")], [0.51])
                derived = "SELECT COUNT(*) FROM certificates WHERE person = 'A. Example' AND station = '1' AND bench_name = 'Bench 1'"
                self.assertEqual(self.server.psql("-c", derived).stdout.strip(), str(there + 1))
                database = sqlite3.connect(local)
                self.assertEqual(database.execute(derived).fetchone(), (there + 1,))
                database.close()


if __name__ == "__main__":
    unittest.main()
