#!/usr/bin/env python3
"""An audit in parts: started by hand, by GNU parallel, by what a Slurm array and Open MPI put into the environment; merged, every
output is the same as that of one run, byte for byte. A run that was stopped or killed goes on, and ends the same.

CALSEAL_SEED gives the moments of the kills back.
"""

import os
import pathlib
import random
import shutil
import signal
import subprocess
import time
import unittest

import desk

SEED = int(os.environ.get("CALSEAL_SEED") or random.SystemRandom().randrange(1 << 31))
FORMATS = ("txt", "jsonl", "csv", "xml")


class Parts(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.archive = desk.Archive(40)
        draw = random.Random(SEED)
        bundles = cls.archive.paths(".calseal")
        for path in draw.sample(bundles, 3):
            cls.archive.at(path).unlink()
        for path in draw.sample([p for p in bundles if cls.archive.at(p).exists()], 3):
            data = bytearray(cls.archive.at(path).read_bytes())
            data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
            cls.archive.at(path).write_bytes(data)
        cls.one = cls.outputs("one", cls.archive.audit, "--depth", "proved")

    @classmethod
    def tearDownClass(cls):
        cls.archive.close()

    @classmethod
    def at(cls, name):
        return cls.archive.root / name

    @classmethod
    def outputs(cls, name, run, *arguments):
        """Everything that a run gives out: text, record, and each report."""
        reports = [cls.at(f"{name}.{ending}") for ending in FORMATS]
        record = cls.at(f"{name}.record")
        done = run(*arguments, "--record", record, *(word for report in reports for word in ("--report", report)), status=1)
        return [done.stdout, record.read_bytes(), *(report.read_bytes() for report in reports)]

    def merged(self, name, records):
        return self.outputs(name, lambda *more, status: desk.run(desk.CALSEAL, "audit", "merge", *records, *more, status=status))

    def part(self, part, record, env=None, status=0):
        return self.archive.audit("--depth", "proved", "--part", part, "--record", record, status=status, env=env)

    def test_parts_by_hand(self):
        for count in (1, 2, 3, 7, 50):
            records = [self.at(f"by-hand-{count}-{k}.record") for k in range(1, count + 1)]
            if count == 1:
                records = [self.at("one.record")]
            else:
                for k, record in enumerate(records, 1):
                    self.part(f"{k}/{count}", record)
            random.Random(SEED).shuffle(records)
            self.assertEqual(self.one, self.merged(f"by-hand-{count}", records), f"{count} parts, CALSEAL_SEED={SEED}")

    def test_under_gnu_parallel(self):
        done = subprocess.run(["parallel", "--will-cite", "-j2", desk.CALSEAL, "audit", self.archive.archive, "--trust", self.archive.trust, "--depth",
                               "proved", "--part", "{}/6", "--record", self.at("parallel-{}.record"), ":::", *"123456"], capture_output=True)
        self.assertEqual(0, done.returncode, done.stderr.decode())
        self.assertEqual(self.one, self.merged("parallel", [self.at(f"parallel-{k}.record") for k in range(1, 7)]))

    def test_under_a_slurm_array(self):
        for least, step in ((0, 1), (1, 1), (10, 5)):
            for k in range(4):
                self.part("auto", self.at("slurm-{part}.record"),
                          env={"SLURM_ARRAY_TASK_ID": str(least + k * step), "SLURM_ARRAY_TASK_COUNT": "4", "SLURM_ARRAY_TASK_MIN": str(least),
                               "SLURM_ARRAY_TASK_STEP": str(step)})
            self.assertEqual(self.one, self.merged("slurm", [self.at(f"slurm-{k}.record") for k in range(1, 5)]))

    def test_under_open_mpi(self):
        for rank in range(3):
            self.part("auto", self.at("mpi-{part}.record"), env={"OMPI_COMM_WORLD_RANK": str(rank), "OMPI_COMM_WORLD_SIZE": "3"})
        self.assertEqual(self.one, self.merged("mpi", [self.at(f"mpi-{k}.record") for k in range(1, 4)]))

    def test_wrong_parts_are_refused(self):
        for part in ("0/2", "3/2", "1/0", "1/5000", "1", "x/y", "-1/2", "auto"):
            self.part(part, self.at("refused.record"), status=2)
        for env in ({"SLURM_ARRAY_TASK_ID": "3"}, {"SLURM_ARRAY_TASK_ID": "9", "SLURM_ARRAY_TASK_COUNT": "4"},
                    {"OMPI_COMM_WORLD_RANK": "3", "OMPI_COMM_WORLD_SIZE": "3"}):
            self.part("auto", self.at("refused.record"), env=env, status=2)

    def test_what_is_not_all_parts_of_one_run_is_no_whole(self):
        records = [self.at(f"third-{k}.record") for k in (1, 2, 3)]
        for k, record in enumerate(records, 1):
            self.part(f"{k}/3", record)
        other = self.at("other.record")
        self.archive.audit("--depth", "stored", "--part", "3/3", "--record", other, status=0)
        for wrong in (records[:2], [*records, records[0]], [*records[:2], other], [self.at("one.record"), records[0]]):
            done = desk.run(desk.CALSEAL, "audit", "merge", *wrong)
            self.assertEqual((1, True), (done.returncode, b"audit-record-other" in done.stderr), wrong)
        torn = self.at("torn.record")
        data = records[2].read_bytes()
        for size in (0, 1, len(data) // 2, len(data) - 1):
            torn.write_bytes(data[:size])
            self.assertNotEqual(0, desk.run(desk.CALSEAL, "audit", "merge", *records[:2], torn).returncode, size)
        bent = bytearray(data)
        draw = random.Random(SEED)
        for _ in range(60):
            at = draw.randrange(len(bent))
            bent[at] ^= 1 << draw.randrange(8)
            torn.write_bytes(bent)
            self.assertEqual(1, desk.run(desk.CALSEAL, "audit", "merge", *records[:2], torn).returncode, f"CALSEAL_SEED={SEED}, byte {at}")
            bent = bytearray(data)

    # --- stopped and killed

    def cut_off(self, name, after, number):
        """A run that gets a signal after so many seconds; its exit status, negative for a signal that ended it."""
        run = subprocess.Popen([desk.CALSEAL, "audit", self.archive.archive, "--trust", self.archive.trust, "--depth", "proved", "--threads", "1",
                                "--record", self.at(name + ".record"), "--resume"],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        time.sleep(after)
        run.send_signal(number)
        out, err = run.communicate()
        return run.returncode, out, err

    def duration(self):
        start = time.monotonic()
        self.archive.audit("--depth", "proved", "--threads", "1", status=1)
        return time.monotonic() - start

    def test_a_killed_run_goes_on_and_ends_the_same(self):
        draw = random.Random(SEED)
        whole = self.duration()
        for turn in range(6):
            name = f"killed-{turn}"
            for _ in range(4):
                status, _, _ = self.cut_off(name, draw.random() * whole * 0.8, signal.SIGKILL)
                self.assertIn(status, (-signal.SIGKILL, 1))
            self.assertEqual(self.one, self.outputs(name, self.archive.audit, "--depth", "proved", "--resume"), f"CALSEAL_SEED={SEED}")
            self.assertFalse(self.at(name + ".record.unfinished").exists())

    def test_a_stopped_run_says_what_it_has_and_goes_on(self):
        draw = random.Random(SEED)
        large = desk.Archive(500)
        try:
            large.at(large.paths("r1.calseal")[7]).write_bytes(b"no bundle")
            start = time.monotonic()
            whole = large.audit("--record", large.root / "whole.record", "--depth", "proved", "--threads", "1", status=1)
            duration = time.monotonic() - start
            for _ in range(40):
                run = subprocess.Popen([desk.CALSEAL, "audit", large.archive, "--trust", large.trust, "--depth", "proved", "--threads", "1", "--record",
                                        large.root / "run.record", "--resume"], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
                time.sleep(duration * (0.2 + 0.6 * draw.random()))
                run.send_signal(signal.SIGINT)
                out, err = run.communicate()
                if run.returncode == 130 and out:
                    break
                (large.root / "run.record").unlink(missing_ok=True)  # of a run that was over before the signal came
            else:
                self.fail(f"never stopped in time, CALSEAL_SEED={SEED}")
            self.assertIn(b"PARTIAL", out)
            self.assertIn(b"--resume", err)
            self.assertFalse((large.root / "run.record").exists())
            again = large.audit("--record", large.root / "run.record", "--depth", "proved", "--resume", status=1)
            self.assertEqual(whole.stdout, again.stdout)
            self.assertEqual((large.root / "whole.record").read_bytes(), (large.root / "run.record").read_bytes())
        finally:
            large.close()

    def test_a_file_that_changed_meanwhile_is_looked_at_again(self):
        copy = desk.Archive(6)
        try:
            record = copy.root / "run.record"
            copy.audit("--record", record, status=0)
            shutil.copy(record, str(record) + ".unfinished")  # of a whole run: no file's state is told, so nothing is taken over
            path = copy.at(copy.paths("r1.calseal")[0])
            data = bytearray(path.read_bytes())
            data[len(data) // 2] ^= 1
            path.write_bytes(data)
            copy.audit("--record", record, "--resume", status=1)
        finally:
            copy.close()

    def test_resume_of_another_audit_is_refused(self):
        name = "of-another"
        for _ in range(20):
            status, _, _ = self.cut_off(name, 0.05, signal.SIGKILL)
            if status == -signal.SIGKILL and self.at(name + ".record.unfinished").exists():
                break
        else:
            self.skipTest("every run was over before it could be killed")
        done = self.archive.audit("--depth", "stored", "--record", self.at(name + ".record"), "--resume")
        self.assertEqual((1, True), (done.returncode, b"audit-record-other" in done.stderr), done.stderr)


if __name__ == "__main__":
    unittest.main()
