#!/usr/bin/env python3
"""Killed while healing, with several writers on one tree and others that append to its ledger: nothing that was acknowledged is lost,
no half-written file is ever seen, and a last run makes the archive what it was.

CALSEAL_SEED gives a run back; CALSEAL_KILLS draws more.
"""

import json
import os
import pathlib
import random
import signal
import subprocess
import time
import unittest

import desk

SEED = int(os.environ.get("CALSEAL_SEED") or random.SystemRandom().randrange(1 << 31))
KILLS = int(os.environ.get("CALSEAL_KILLS") or 200)
WRITERS = 3
LEDGER = "ledger/"


def damage(archive, draw, originals):
    """Takes files away and bends others, none of them the ledger's own; path -> what stands there now."""
    bent = {}
    for path in draw.sample(sorted(p for p in originals if not p.startswith(LEDGER)), 12):
        if draw.random() < 0.4:
            archive.at(path).unlink(missing_ok=True)
            bent[path] = None
        else:
            data = bytearray(originals[path])
            data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
            archive.at(path).write_bytes(data)
            bent[path] = bytes(data)
    return bent


class HealKills(unittest.TestCase):
    def setUp(self):
        self.archive = desk.Archive(4)
        self.archive.audit("--record", self.archive.record, status=0)
        self.originals = desk.files_of(self.archive.mirror)
        self.acknowledged = set()

    def tearDown(self):
        self.archive.close()

    def healer(self):
        return subprocess.Popen([desk.CALSEAL, "audit", self.archive.archive, "--trust", self.archive.trust, "--since", self.archive.record,
                                 "--mirror", self.archive.mirror, "--heal"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def appender(self, number):
        return subprocess.Popen([desk.CALSEAL, "ledger", "append", self.archive.at("ledger"), "sent", self.archive.mirror / "jobs/job-00000/base-1/r1.calseal",
                                 "--words", f"mark-{number}", "--trust", self.archive.trust], stdout=subprocess.PIPE, stderr=subprocess.PIPE)

    def look(self, bent, context):
        """Every file is the original, or what the fault left: never anything between."""
        now = desk.files_of(self.archive.archive)
        for path, data in now.items():
            if path.startswith(LEDGER):
                continue
            self.assertIn(path, self.originals, f"{path} is new; {context}")
            self.assertTrue(data == self.originals[path] or path in bent and data == bent[path], f"{path} is neither whole nor as it was; {context}")
        for path in self.originals:
            if not path.startswith(LEDGER) and path not in bent:
                self.assertIn(path, now, context)
        aside = self.archive.archive / desk.ASIDE
        for kept in aside.rglob("*") if aside.exists() else ():
            if kept.is_file():
                path = str(kept.relative_to(aside)).rsplit(".", 1)[0]
                self.assertFalse(path.startswith(LEDGER), f"the ledger was put back while it was written to; {context}")
                self.assertEqual(bent.get(path), kept.read_bytes(), f"{kept}; {context}")

    def test_kills(self):
        draw = random.Random(SEED)
        start = time.monotonic()
        self.healer().wait()
        whole = max(0.02, time.monotonic() - start)
        kills = rounds = number = 0
        while kills < KILLS:
            rounds += 1
            bent = damage(self.archive, draw, self.originals)
            for _ in range(draw.randrange(1, 4)):
                context = f"CALSEAL_SEED={SEED}, round {rounds}, {kills} kills"
                healers = [self.healer() for _ in range(WRITERS)]
                appenders = []
                for _ in range(2):
                    number += 1
                    appenders.append((f"mark-{number}", self.appender(number)))
                victims = [*healers, *(run for _, run in appenders)]
                draw.shuffle(victims)
                for run in victims:
                    time.sleep(draw.random() * whole / 2)
                    if draw.random() < 0.8 and run.poll() is None:
                        run.send_signal(signal.SIGKILL)
                for mark, run in appenders:
                    out, err = run.communicate()
                    kills += run.returncode == -signal.SIGKILL
                    if run.returncode == 0:
                        self.acknowledged.add(mark)
                    else:
                        self.assertIn(run.returncode, (-signal.SIGKILL, 3), f"{err}; {context}")
                for run in healers:
                    run.wait()
                    kills += run.returncode == -signal.SIGKILL
                    self.assertIn(run.returncode, (-signal.SIGKILL, 0, 1), context)
                self.look(bent, context)
            # A last run alone puts everything back; whoever was cut off is in nobody's way.
            last = self.healer()
            last.wait()
            self.assertIn(last.returncode, (0, 1), context)
            now = desk.files_of(self.archive.archive)
            self.assertEqual({p: d for p, d in self.originals.items() if not p.startswith(LEDGER)},
                             {p: d for p, d in now.items() if not p.startswith(LEDGER)}, context)
            # The next append takes out what cut-off writers left in the ledger.
            number += 1
            after = self.appender(number)
            after.communicate()
            self.assertEqual(0, after.returncode, context)
            self.archive.audit("--since", self.archive.record, status=0)
            subprocess.run(["rm", "-rf", self.archive.archive / desk.ASIDE], check=True)
        self.assertTrue(self.acknowledged, "every append was killed: nothing was tried")
        report = json.loads(desk.run(desk.CALSEAL, "ledger", "verify", self.archive.at("ledger"), "--trust", self.archive.trust, "--json").stdout)
        self.assertEqual([], [f for f in report["findings"] if f["fault"] not in ("torn", "not-acknowledged", "entered-late")], f"CALSEAL_SEED={SEED}")
        listed = desk.run(desk.CALSEAL, "ledger", "show", self.archive.at("ledger"), "--json", status=0).stdout.decode()
        for mark in self.acknowledged:
            self.assertIn(f'"{mark}"', listed, f"acknowledged and lost; CALSEAL_SEED={SEED}")
        for path in ("ledger/entries.jsonl", "ledger/details.jsonl"):
            self.assertTrue(self.archive.at(path).read_bytes().startswith(self.originals[path]), path)


if __name__ == "__main__":
    unittest.main()
