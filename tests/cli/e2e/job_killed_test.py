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
from desk import CALSEAL, SANITIZED
from job_desk import JobDesk

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
SEED = 20261125
KILLS = {}
HANDOVER = "handover-3"


def without_hidden(tree):
    return {name: data for name, data in tree.items() if not any(part.startswith(".") for part in pathlib.Path(name).parts)}


@unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first, and makes every run slow")
class Killed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = JobDesk.with_revision()
        cls.start = cls.desk.whole + "-start"
        shutil.copytree(cls.desk.whole, cls.start)
        cls.old = cls.desk.tree(cls.desk.whole)
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
        shutil.rmtree(self.desk.whole, ignore_errors=True)
        shutil.copytree(self.start, self.desk.whole)

    def new_of(self, command):
        self.reset()
        self.desk.must(*command)
        return self.desk.tree(self.desk.whole)

    def look(self, new, bundle, point):
        """Every file is old or new, whole. The hand-over of a send is what makes the revision: the bundle is never in its controller's
        folder without it, and where it is not there yet `status` says so. Returns whether the revision is made."""
        found = self.desk.tree(self.desk.whole)
        for name, data in without_hidden(found).items():
            self.assertIn(data, (self.old.get(name), new.get(name)), f"{name} is neither old nor new, killed at {point}")
        for name in self.old:
            self.assertIn(name, found, point)
        handed = HANDOVER + "/engine-" + pathlib.Path(bundle).name in found
        placed = bundle in found
        if placed:
            missing = [name for name in new if name not in found and not name.startswith(HANDOVER)]
            self.assertEqual(missing, [], point)
        state = self.desk.run(CALSEAL, "job", "status", self.desk.whole, "--trust", self.desk.at("shop.trust"), "--json")
        self.assertIn(state.returncode, (0, 1), (point, state.stdout))
        self.assertIn(b'{"calseal":"job-status/1"', state.stdout, point)
        noted = found["engine/events.jsonl"] == new["engine/events.jsonl"]
        self.assertEqual(b'"code":"sealed-not-noted"' in state.stdout, placed and not noted, point)
        self.assertEqual(b'"code":"sealed-not-placed"' in state.stdout, handed and not placed, point)
        away = b'"bundle":"../' + HANDOVER.encode() + b"/engine-" + pathlib.Path(bundle).name.encode() + b'"'
        self.assertEqual(away in state.stdout, handed and not placed, point)  # and it counts
        return handed or placed

    def again(self, command, done, point):
        """Where it was not done it is done now; where it was, nothing is done twice, and the next command leaves the folder sound."""
        after = self.desk.run(*command, "--json")
        if done and command is self.carry:
            self.assertIn(b'"reason":"usage"', after.stdout, point)
            return
        if done:
            self.assertIn(b"nothing changed: the image is that of revision 2", after.stdout, point)
            self.assertIn("engine/base-1/r2.calseal", self.desk.tree(self.desk.whole), point)
            return
        self.assertEqual(after.returncode, 0, (point, after.stdout))
        self.assertIn(b'"revision":2' if command is self.send else b'"base":2', after.stdout, point)

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
        self.at_every_call("send", self.send, "engine/base-1/r2.calseal")

    def test_carry_at_every_call(self):
        self.at_every_call("carry", self.carry, "engine/base-2/r0.calseal")

    def test_interrupted_the_message_is_true(self):
        """Ctrl-C before each call that writes: either the folder is as it was, or the message names what is there, and it is whole."""
        for label, command, bundle, named in (("send", self.send, "engine/base-1/r2.calseal", "engine/base-1/edited/r2-flash.bin"),
                                              ("carry", self.carry, "engine/base-2/r0.calseal", "engine/base-2")):
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
                    found = set(self.desk.tree(self.desk.whole))
                    self.assertIn(done.returncode, (0, 130))
                    nothing = b"nothing was written" in done.stderr
                    if done.returncode == 0:
                        self.assertIn(bundle, found)
                    elif nothing:
                        self.assertEqual(self.desk.tree(self.desk.whole), self.old)
                    else:
                        # What is named is there, and whatever is new or newer is under a name that is named.
                        self.assertLessEqual(found, names)
                        self.assertIn((self.desk.whole + "/" + named).encode(), done.stderr)
                        tree = self.desk.tree(self.desk.whole)
                        for name in found:
                            if tree[name] != self.old.get(name):
                                above = [self.desk.whole + "/" + "/".join(name.split("/")[:depth]) for depth in range(1, 9)]
                                self.assertTrue(any(path.encode() in done.stderr for path in above), name)
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
                self.again(self.send, self.look(new, "engine/base-1/r2.calseal", f"step {step}"), f"step {step}")

    def test_new_at_every_call(self):
        folder = self.desk.whole + "-new"
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
                    found = self.desk.tree(self.desk.whole)
                    self.assertEqual({name for name in found if "/." in "/" + name}, set())
                    if done.returncode != 0:
                        self.assertEqual(done.returncode, 3, done.stderr)
                        # All or nothing, or what is sealed is there and the message says where; after the last file came the report alone.
                        placed = {name: data for name, data in new.items() if name in self.old or not name.startswith("engine/base-1/r")}
                        handed = {**placed, "engine/events.jsonl": self.old["engine/events.jsonl"]}
                        kept = {name: data for name, data in new.items() if not name.startswith(HANDOVER)}
                        unnoted = {**kept, "engine/events.jsonl": self.old["engine/events.jsonl"]}
                        self.assertIn(found, (self.old, new, handed) if command is self.send else (self.old, new, kept, unnoted))
                        if found == handed:
                            self.assertIn(b"hint: sealed, and whole in", done.stderr)
            self.assertGreater(n, 6)

    def test_z_enough_kills(self):
        self.assertGreaterEqual(sum(KILLS.values()), 60, KILLS)


if __name__ == "__main__":
    unittest.main()
