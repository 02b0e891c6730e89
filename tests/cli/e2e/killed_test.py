"""Killed at any moment, and every file is the old or the new one, whole; a later run succeeds.

Every command that writes is killed (SIGKILL, which nothing can catch) at each of its calls that write, sync, name or close in
turn, and after delays drawn from a fixed seed. At least 200 kills in all."""

import hashlib
import json
import os
import pathlib
import random
import shutil
import signal
import subprocess
import time
import unittest

import desk as desks
from desk import CALSEAL

SUPPORT = pathlib.Path(__file__).resolve().parents[2] / "support"
SANITIZED = b"__asan_init" in subprocess.run(["nm", CALSEAL], capture_output=True, check=False).stdout
OLD = b"what stood here before"
SEED = 20260304
KILLS = {}  # by command


def setUpModule():
    global DESK, LIBRARY
    DESK = desks.Desk()
    DESK.open_shop()
    DESK.must(CALSEAL, "key", "new", DESK.at("reviewer.key"), "--passphrase-file", DESK.at("word.txt"))
    for name in ("author.key", "reviewer.key"):
        DESK.quicken(name)
    DESK.must(CALSEAL, "shop", "add-key", DESK.at("shop.trust"), DESK.at("reviewer.key.pub"), "--name", "Reviewer", "--role", "reviewer",
              "--valid-from", "2026-01-01T00:00:00Z", "--root-key", DESK.at("root.key"), "--passphrase-file", DESK.at("word.txt"),
              "--claimed-time", desks.TIME, "-o", DESK.at("shop-2.trust"))
    os.replace(DESK.at("shop-2.trust"), DESK.at("shop.trust"))
    DESK.seal_base()
    DESK.seal_revision(1)
    DESK.seal_revision(2, "--parent", DESK.at("r1.calseal"))
    LIBRARY = str(DESK.root / "fail_nth_call.so")
    subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", LIBRARY, SUPPORT / "fail_nth_call.c"], check=True)


def tearDownModule():
    DESK.close()
    print("kills:", ", ".join(f"{name} {count}" for name, count in KILLS.items()))


class Command:
    """What runs, what stands in `out` before, and how a file that it wrote is judged. A name without an old file of its own
    may also be missing."""

    def __init__(self, arguments, before=None, judge=None, fresh_only=False):
        self.arguments = [str(a) for a in arguments]
        self.before = before or {}
        self.judge = judge
        self.fresh_only = fresh_only  # never writes over a file
        self.reset()
        DESK.must(*self.arguments)
        self.whole = DESK.written()

    def reset(self):
        for path in DESK.out.iterdir():
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()
        for name, data in self.before.items():
            (DESK.out / name).write_bytes(data)

    def is_new(self, name, data):
        return self.judge(name, data) if self.judge else data == self.whole[name]


def usable(name, data):
    """Keys and trust files are drawn anew on every run: whole is what the program itself can use."""
    path = DESK.out / name
    if name.endswith(".key"):
        return DESK.run(CALSEAL, "key", "show", path, "--passphrase-file", DESK.at("word.txt")).returncode == 0
    if name.endswith((".trust", ".list")):
        return data.endswith(b"\n") and data.count(b"\n") == 2
    if name == "shop.json":
        return json.loads(data)["trust"] == "shop.trust"
    return data.startswith(b"-----BEGIN PUBLIC KEY-----") and data.endswith(b"-----END PUBLIC KEY-----\n")


def believed(name, data):
    """A trust file whose signature holds; a run that comes again makes one more version."""
    return DESK.out.joinpath(name).read_bytes() == data and DESK.run(CALSEAL, "shop", "show", DESK.out / name).returncode == 0


def commands():
    check = [CALSEAL, "check", *DESK.check_arguments(DESK.at("r1.calseal")), *DESK.image_arguments()]
    later = [CALSEAL, "check", *DESK.check_arguments(DESK.at("r2.calseal")), *DESK.image_arguments()]
    state = ["--state", DESK.out / "checker.state"]
    DESK.must(*check, *state)
    old_state = DESK.written()["checker.state"]

    def state_or_exact(whole):
        def judge(name, data):
            if name != "checker.state":
                return data == whole[name]
            # The time of acceptance is in it, so only its own digest can be foretold.
            line, digest, end = data.decode().split("\n")
            return end == "" and digest == hashlib.sha256(line.encode()).hexdigest() and data != old_state
        return judge

    flash, eeprom = DESK.expected(2)
    images = {"flash.new": flash, "eeprom.new": eeprom}
    secret = ["--passphrase-file", DESK.at("word.txt")]
    flash1, _ = DESK.edit(1)
    DESK.must(CALSEAL, "key", "new", DESK.at("root2.key"), *secret)
    return {
        "check": Command(check),
        "check, replacing": Command(check, before={"flash.new": OLD, "eeprom.new": OLD}),
        "check with a new state": Command([*later, *state], judge=state_or_exact(images)),
        "check with an old state": Command([*later, *state], before={"flash.new": OLD, "eeprom.new": OLD, "checker.state": old_state},
                                           judge=state_or_exact(images)),
        "seal": Command([CALSEAL, *DESK.revision_arguments(1), "-o", DESK.out / "r.calseal"]),
        "seal, replacing": Command([CALSEAL, *DESK.revision_arguments(1), "-o", DESK.out / "r.calseal"], before={"r.calseal": OLD}),
        "countersign": Command([CALSEAL, "countersign", DESK.at("r1.calseal"), "--trust", DESK.at("shop.trust"), "--key",
                                DESK.at("reviewer.key"), *secret, "-o", DESK.out / "r.calseal"]),
        "countersign, replacing": Command([CALSEAL, "countersign", DESK.at("r1.calseal"), "--trust", DESK.at("shop.trust"), "--key",
                                           DESK.at("reviewer.key"), *secret, "-o", DESK.out / "r.calseal"], before={"r.calseal": OLD}),
        "correct": Command([CALSEAL, "correct", "--regions", DESK.at("duo.json"), "flash=" + DESK.put("stale.bin", flash1), "eeprom=" + DESK.at("eeprom.bin"),
                            "--output", f"flash={DESK.out}/flash.bin", "--output", f"eeprom={DESK.out}/eeprom.bin"]),
        "correct, replacing": Command([CALSEAL, "correct", "--regions", DESK.at("duo.json"), "flash=" + DESK.at("stale.bin"), "eeprom=" + DESK.at("eeprom.bin"),
                                       "--output", f"flash={DESK.out}/flash.bin", "--output", f"eeprom={DESK.out}/eeprom.bin"],
                                      before={"flash.bin": OLD, "eeprom.bin": OLD}),
        "shop announce-root, keeping the name": Command([CALSEAL, "shop", "announce-root", DESK.out / "shop.trust", DESK.at("root2.key.pub"),
                                                         "--root-key", DESK.at("root.key"), *secret, "--claimed-time", desks.TIME],
                                                        before={"shop.trust": pathlib.Path(DESK.at("shop.trust")).read_bytes()},
                                                        judge=believed),
        "key new": Command([CALSEAL, "key", "new", DESK.out / "a.key", *secret], judge=usable, fresh_only=True),
        "shop new": Command([CALSEAL, "shop", "new", DESK.out, "--name", "Shop", *secret, "--claimed-time", desks.TIME], judge=usable,
                            fresh_only=True),
    }


@unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first, and makes every run slow")
class Killed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.commands = commands()

    def look(self, command, point):
        """Every final name holds the old file or the new one, whole."""
        found = {name: data for name, data in DESK.written().items() if not name.startswith(".")}
        for name, data in found.items():
            if data == command.before.get(name):
                continue
            self.assertIn(name, command.whole, point)
            self.assertTrue(command.is_new(name, data), f"{name} is neither old nor new ({len(data)} bytes), killed at {point}")
        for name in command.before:
            self.assertIn(name, found, point)
        return found

    def run_again(self, command, found, point):
        done = DESK.run(*command.arguments)
        if command.fresh_only and found:
            self.assertIn(b"[output-exists]", done.stderr, point)  # what stands there is whole, as just seen
            return
        self.assertEqual(done.returncode, 0, (point, done.stderr))
        for name in command.whole:
            self.assertTrue(command.is_new(name, DESK.written()[name]), (name, point))

    def test_at_every_call(self):
        for label, command in self.commands.items():
            with self.subTest(command=label):
                for n in range(1, 200):
                    command.reset()
                    log = DESK.root / "reached"
                    log.unlink(missing_ok=True)
                    done = DESK.run(*command.arguments, env={"LD_PRELOAD": LIBRARY, "FAIL_NTH_CALL": str(n), "FAIL_LOG": str(log),
                                                            "FAIL_SIGNAL": str(int(signal.SIGKILL))})
                    if not log.exists():
                        break
                    self.assertEqual(done.returncode, -signal.SIGKILL, done.stderr)
                    KILLS[label] = KILLS.get(label, 0) + 1
                    found = self.look(command, n)
                    self.run_again(command, found, n)
                self.assertGreater(n, 6, "the library was not loaded, or nothing was written")
                self.assertLess(n, 199)

    def test_at_any_time(self):
        draw = random.Random(SEED)
        for label in ("check with an old state", "seal, replacing", "countersign, replacing", "correct, replacing"):
            command = self.commands[label]
            command.reset()
            begin = time.monotonic()
            DESK.must(*command.arguments)
            usual = time.monotonic() - begin
            for step in range(20):
                command.reset()
                with subprocess.Popen(command.arguments, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                      env={"PATH": os.environ["PATH"], "LC_ALL": "C"}, cwd=DESK.root) as process:
                    time.sleep(draw.uniform(0, usual))
                    process.kill()
                    process.wait(timeout=60)
                KILLS[label] = KILLS.get(label, 0) + (process.returncode == -signal.SIGKILL)
                with self.subTest(command=label, step=step):
                    found = self.look(command, f"step {step}")
                    self.run_again(command, found, f"step {step}")

    def test_z_enough_kills(self):
        self.assertGreaterEqual(sum(KILLS.values()), 200, KILLS)


if __name__ == "__main__":
    unittest.main()
