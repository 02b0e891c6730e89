"""`job send` killed at any moment (SIGKILL, which nothing can catch): the folder is the old or the new one, whole, `status` reads
it, and the same command again succeeds. The same for `job new` and `job carry`; and a disk that fills up at any of their calls."""

import os
import pathlib
import random
import shutil
import signal
import subprocess
import time
import unittest

import job_desk
from desk import CALSEAL
from job_desk import JobDesk

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
SANITIZED = b"__asan_init" in subprocess.run(["nm", CALSEAL], capture_output=True, check=False).stdout
SEED = 20261125
KILLS = {}


def without_hidden(tree):
    return {name: data for name, data in tree.items() if not any(part.startswith(".") for part in pathlib.Path(name).parts)}


@unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first, and makes every run slow")
class Killed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = JobDesk.with_revision()
        cls.start = cls.desk.folder + "-start"
        shutil.copytree(cls.desk.folder, cls.start)
        cls.old = cls.desk.tree()
        cls.send = cls.desk.send_arguments(2)
        updated = cls.desk.put("updated.bin", job_desk.updated_flash())
        cls.carry = [CALSEAL, "job", "carry", cls.desk.folder, "flash=" + updated, "eeprom=" + cls.desk.at("eeprom.bin"), "--reason", "update",
                     *cls.desk.signing()]
        cls.library = str(cls.desk.root / "fail_nth_call.so")
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", cls.library, SUPPORT / "fail_nth_call.c"], check=True)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()
        print("kills:", ", ".join(f"{name} {count}" for name, count in KILLS.items()))

    def reset(self):
        shutil.rmtree(self.desk.folder, ignore_errors=True)
        shutil.copytree(self.start, self.desk.folder)

    def new_of(self, command):
        self.reset()
        self.desk.must(*command)
        return self.desk.tree()

    def look(self, new, bundle, point):
        """Every file is old or new, whole; the bundle never stands without what belongs to it; status explains the rest."""
        found = self.desk.tree()
        for name, data in without_hidden(found).items():
            self.assertIn(data, (self.old.get(name), new.get(name)), f"{name} is neither old nor new, killed at {point}")
        for name in self.old:
            self.assertIn(name, found, point)
        if bundle in found:
            missing = [name for name in new if name not in found]
            self.assertEqual(missing, [], point)
        state = self.desk.run(CALSEAL, "job", "status", self.desk.folder, "--trust", self.desk.at("shop.trust"), "--json")
        self.assertIn(state.returncode, (0, 1), (point, state.stdout))
        self.assertIn(b'{"calseal":"job-status/1"', state.stdout, point)
        noted = found["events.jsonl"] == new["events.jsonl"]
        self.assertEqual(b'"code":"sealed-not-noted"' in state.stdout, bundle in found and not noted, point)
        return bundle in found

    def again(self, command, done, point):
        """Where it was not done it is done now; where it was, the next number comes of it, or a plain word."""
        after = self.desk.run(*command, "--json")
        if done and command is self.carry:
            self.assertIn(b'"reason":"usage"', after.stdout, point)
            return
        self.assertEqual(after.returncode, 0, (point, after.stdout))
        self.assertIn(b'"revision":3' if done else b'"revision":2' if command is self.send else b'"base":2', after.stdout, point)

    def at_every_call(self, label, command, bundle):
        new = self.new_of(command)
        outcomes = set()
        for n in range(1, 400):
            self.reset()
            log = self.desk.root / "reached"
            log.unlink(missing_ok=True)
            done = self.desk.run(*command, env={"LD_PRELOAD": self.library, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log),
                                                "FAIL_SIGNAL": str(int(signal.SIGKILL))})
            if not log.exists():
                break
            self.assertEqual(done.returncode, -signal.SIGKILL, done.stderr)
            KILLS[label] = KILLS.get(label, 0) + 1
            made = self.look(new, bundle, n)
            outcomes.add(made)
            self.again(command, made, n)
        self.assertGreater(n, 6, "the library was not loaded, or nothing was written")
        self.assertLess(n, 399)
        self.assertEqual(outcomes, {False, True})

    def test_send_at_every_call(self):
        self.at_every_call("send", self.send, "base-1/r2.calseal")

    def test_carry_at_every_call(self):
        self.at_every_call("carry", self.carry, "base-2/r0.calseal")

    def test_interrupted_the_message_is_true(self):
        """Ctrl-C before each call that writes: either the folder is as it was, or the message names what is there, and it is whole."""
        for label, command, bundle, named in (("send", self.send, "base-1/r2.calseal", "base-1/r2.calseal"),
                                              ("carry", self.carry, "base-2/r0.calseal", "base-2")):
            names = set(self.new_of(command))
            said = set()
            for n in range(1, 400):
                self.reset()
                log = self.desk.root / "reached"
                log.unlink(missing_ok=True)
                done = self.desk.run(*command, env={"LD_PRELOAD": self.library, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log),
                                                    "FAIL_SIGNAL": str(int(signal.SIGINT))})
                if not log.exists():
                    break
                with self.subTest(command=label, call=n, status=done.returncode, said=done.stderr):
                    found = set(self.desk.tree())
                    self.assertIn(done.returncode, (0, 130))
                    nothing = b"nothing was written" in done.stderr
                    if done.returncode == 0:
                        self.assertIn(bundle, found)
                    elif nothing:
                        self.assertEqual(self.desk.tree(), self.old)
                    else:
                        self.assertIn(bundle, found)
                        self.assertEqual(found, names)
                        self.assertIn((self.desk.folder + "/" + named).encode(), done.stderr)
                    said.add((done.returncode, nothing))
            self.assertEqual(said & {(130, True), (130, False)}, {(130, True), (130, False)}, label)

    def test_send_at_any_time(self):
        new = self.new_of(self.send)
        draw = random.Random(SEED)
        self.reset()
        begin = time.monotonic()
        self.desk.must(*self.send)
        usual = time.monotonic() - begin
        for step in range(60):
            self.reset()
            with subprocess.Popen([str(a) for a in self.send], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                  env={"PATH": os.environ["PATH"], "LC_ALL": "C"}, cwd=self.desk.root) as process:
                time.sleep(draw.uniform(0, usual))
                process.kill()
                process.wait(timeout=60)
            KILLS["send, at any time"] = KILLS.get("send, at any time", 0) + (process.returncode == -signal.SIGKILL)
            with self.subTest(step=step):
                self.again(self.send, self.look(new, "base-1/r2.calseal", f"step {step}"), f"step {step}")

    def test_new_at_every_call(self):
        folder = self.desk.folder + "-new"
        command = self.desk.new_arguments(folder)
        for n in range(1, 400):
            log = self.desk.root / "reached"
            log.unlink(missing_ok=True)
            self.desk.run(*command, env={"LD_PRELOAD": self.library, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log),
                                         "FAIL_SIGNAL": str(int(signal.SIGKILL))})
            whole = os.path.exists(folder)
            if whole:
                self.assertEqual(self.desk.json(CALSEAL, "job", "status", folder)["findings"], [], n)
                shutil.rmtree(folder)
            if not log.exists():
                break
            KILLS["new"] = KILLS.get("new", 0) + 1
        self.assertGreater(n, 10)
        self.assertTrue(whole)

    def test_a_disk_that_is_full(self):
        for label, command in (("send", self.send), ("carry", self.carry)):
            new = self.new_of(command)
            for n in range(1, 400):
                self.reset()
                log = self.desk.root / "reached"
                log.unlink(missing_ok=True)
                done = self.desk.run(*command, env={"LD_PRELOAD": self.library, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log)})
                if not log.exists():
                    break
                with self.subTest(command=label, call=n):
                    found = self.desk.tree()
                    self.assertEqual({name for name in found if "/." in "/" + name}, set())
                    if done.returncode != 0:
                        self.assertEqual(done.returncode, 3, done.stderr)
                        # All or nothing; what came after the last file was the report alone.
                        self.assertIn(found, (self.old, new) if command is self.send else (self.old, new, {**new, "events.jsonl": self.old["events.jsonl"]}))
            self.assertGreater(n, 6)

    def test_z_enough_kills(self):
        self.assertGreaterEqual(sum(KILLS.values()), 60, KILLS)


if __name__ == "__main__":
    unittest.main()
