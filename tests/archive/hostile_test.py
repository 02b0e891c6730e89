#!/usr/bin/env python3
"""Trees that nobody would call an archive: links, pipes, unreadable and endless files, strange names, files that change while they are
read. The audit ends, says what it could not look at, follows no link, and its memory does not grow with what it reads.

CALSEAL_SEED gives a run back.
"""

import json
import os
import pathlib
import random
import shutil
import socket
import subprocess
import tempfile
import threading
import unittest

import desk

SEED = int(os.environ.get("CALSEAL_SEED") or random.SystemRandom().randrange(1 << 31))
SANITIZED = b"__asan_init" in subprocess.run(["nm", desk.CALSEAL], capture_output=True, check=False).stdout
NOBODY = 65534


SUPPORT = pathlib.Path(__file__).parents[1] / "support"


def compile_support(source, library):
    if not library.exists():
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", library, SUPPORT / source], check=True)
    return library


def fail_looking(folder):
    return compile_support("fail_looking.c", folder / "fail_looking.so")


class Hostile(unittest.TestCase):
    def setUp(self):
        self.archive = desk.Archive(2)
        os.chmod(self.archive.root, 0o755)

    def tearDown(self):
        self.archive.close()

    def codes(self, *more):
        report = self.archive.json("--depth", "proved", *more)
        return {(f["code"], f["path"]) for f in report["findings"]}

    def test_links_are_named_and_not_followed(self):
        outside = self.archive.root / "outside"
        outside.mkdir()
        (outside / "secret").write_bytes(b"not to be read")
        for name, to in (("loop", "."), ("up", ".."), ("away", outside), ("file", outside / "secret"), ("nowhere", "/no/such/place"),
                         ("itself", "itself")):
            os.symlink(to, self.archive.at(name))
        self.assertEqual({("link-not-followed", n) for n in ("loop", "up", "away", "file", "nowhere", "itself")}, self.codes())
        done = self.archive.audit(status=0)
        self.assertNotIn(b"secret", done.stdout)

    def test_healing_writes_through_no_link(self):
        outside = self.archive.root / "outside"
        outside.mkdir()
        job = self.archive.at("jobs/job-00001/base-1")
        shutil.move(job, outside / "base-1")
        before = desk.files_of(outside)
        (outside / "base-1" / "r1.calseal").unlink()
        os.symlink(outside / "base-1", job)
        self.archive.audit("--mirror", self.archive.mirror, "--heal", status=1)
        self.assertNotIn("base-1/r1.calseal", desk.files_of(outside))
        self.assertTrue(set(desk.files_of(outside)) < set(before))

    def test_pipes_devices_and_sockets_hang_nothing(self):
        os.mkfifo(self.archive.at("pipe"))
        listener = socket.socket(socket.AF_UNIX)
        listener.bind(str(self.archive.at("socket")))
        expected = {("not-a-file", "pipe"), ("not-a-file", "socket")}
        if os.geteuid() == 0:
            subprocess.run(["mknod", self.archive.at("zero"), "c", "1", "5"], check=False)
            if self.archive.at("zero").exists():
                expected.add(("not-a-file", "zero"))
        self.assertEqual(expected, self.codes())
        listener.close()

    @unittest.skipUnless(os.geteuid() == 0, "needs somebody who may read less")
    def test_what_may_not_be_read_is_said(self):
        os.chmod(self.archive.at("jobs/job-00001"), 0)
        os.chmod(self.archive.at("jobs/job-00000/base-1/r1.calseal"), 0)
        done = subprocess.run([desk.CALSEAL, "audit", self.archive.archive, "--trust", self.archive.trust, "--json"], capture_output=True, user=NOBODY,
                              group=NOBODY)
        self.assertEqual(1, done.returncode, done.stderr)
        found = {(f["code"], f["path"]) for f in json.loads(done.stdout)["findings"]}
        self.assertLessEqual({("folder-unreadable", "jobs/job-00001"), ("file-unreadable", "jobs/job-00000/base-1/r1.calseal")}, found)

    def fails(self, *more, status=1, **env):
        """Findings and text of an audit whose looking at folders fails as told."""
        env["LD_PRELOAD"] = str(fail_looking(self.archive.root))
        report = json.loads(self.archive.audit(*more, "--json", env=env, status=status).stdout)
        return {(f["code"], f["path"], f["text"]) for f in report["findings"]}

    @unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first")
    def test_a_listing_that_breaks_off_is_said(self):
        cause = "not looked at: Input/output error"
        self.assertIn(("folder-unreadable", ".", cause), self.fails(FAIL_READDIR="1"))
        self.assertIn(("folder-unreadable", "jobs/job-00000/base-1", cause), self.fails(FAIL_LOOK="base-1"))
        self.assertIn(("folder-unreadable", "jobs/job-00000/base-1", cause), self.fails(FAIL_OPEN="base-1"))
        self.assertIn(("folder-unreadable", "shop.trust", cause), self.fails(FAIL_LOOK="shop.trust"))
        record = self.archive.root / "unseen.record"
        self.fails("--record", record, FAIL_LOOK="base-1")
        again = json.loads(self.archive.audit("--since", record, "--json", status=0).stdout)
        self.assertIn(("folder-unreadable", "gone"), {(f["code"], f["age"]) for f in again["findings"]})

    def test_an_archive_of_nothing_is_not_clean(self):
        empty = self.archive.root / "not-mounted"
        empty.mkdir()
        audit = [desk.CALSEAL, "audit", empty, "--trust", self.archive.trust, "--json"]
        self.assertIn("archive-empty", {f["code"] for f in json.loads(desk.run(*audit, status=1).stdout)["findings"]})
        desk.run(*audit, "--expect", "0", status=0)
        self.assertIn("files-fewer", {f["code"] for f in json.loads(desk.run(*audit, "--expect", "1", status=1).stdout)["findings"]})
        both = json.loads(self.archive.audit(empty, "--json", status=1).stdout)
        self.assertIn(("archive-empty", str(empty)), {(f["code"], f["path"]) for f in both["findings"]})

    def test_as_many_files_as_expected(self):
        count = self.archive.json(status=0)["files"]
        self.archive.audit("--expect", count, status=0)
        self.assertEqual(["files-fewer"], [f["code"] for f in self.archive.findings("--expect", count + 1, status=1)])

    def test_a_report_that_cannot_be_made_is_refused_first(self):
        for option, name in (("--report", "no/such/folder/a.txt"), ("--report", "a.xml"), ("--record", "no/such/folder/a")):
            (self.archive.root / "a.xml").mkdir(exist_ok=True)
            told = self.archive.json(option, self.archive.root / name, status=3)
            self.assertEqual("write-failed", told["reason"], (option, name))

    @unittest.skipIf(SANITIZED, "the sanitizers' runtime must be loaded first")
    def test_findings_are_printed_when_a_report_fails(self):
        self.archive.at("jobs/job-00000/job.json").write_bytes(bytes(100))
        library = self.archive.root / "fail_nth_call.so"
        compile_support("fail_nth_call.c", library)
        report, failed = self.archive.root / "out.txt", 0
        for number in range(1, 2000):
            reached = self.archive.root / "reached"
            reached.unlink(missing_ok=True)
            report.unlink(missing_ok=True)
            done = subprocess.run([desk.CALSEAL, "audit", self.archive.archive, "--trust", self.archive.trust, "--report", report, "--json"], capture_output=True,
                                  check=False, env={**os.environ, "LD_PRELOAD": str(library), "FAIL_NTH_CALL": str(number), "FAIL_LOG": str(reached)})
            if not reached.exists():
                break
            if done.returncode == 3:
                failed += 1
                self.assertIn(("file-damaged", "jobs/job-00000/job.json"), {(f["code"], f["path"]) for f in json.loads(done.stdout)["findings"]})
                self.assertIn(b"write-failed", done.stderr)
                self.assertFalse(report.exists())
        self.assertGreater(failed, 0)

    def test_strange_names(self):
        good = self.archive.at("jobs/job-00000/base-1/r1.calseal").read_bytes()
        names = [b"line\nbreak", b"\xff\xfe bad utf-8 \x80", b"\x1b[31mred\x1b[0m", b"quote\"comma,", b" leading", b"x" * 255, "\u202egnp".encode(), b"<&>]]>",
                 b"tab\tand\rreturn", b"-rf", b"%s%n"]
        bent = bytearray(good)
        bent[len(bent) // 2] ^= 1
        for name in names:
            with open(os.path.join(os.fsencode(self.archive.archive), name), "wb") as out:
                out.write(bent)
        reports = [self.archive.root / f"report.{ending}" for ending in ("txt", "jsonl", "csv", "xml")]
        done = self.archive.audit("--json", *(w for r in reports for w in ("--report", r)), status=1)
        found = [f for f in json.loads(done.stdout)["findings"] if f["code"] in ("bundle-damaged", "signature-bad")]
        self.assertEqual(len(names), len(found))
        self.assertEqual(len(names), len({f["path"] for f in found}))
        for report in reports:
            text = report.read_bytes().decode()
            self.assertNotIn("\x1b", text)
            self.assertFalse("\u202e" in text and report.suffix == ".txt", "for a person to read")
        text = self.archive.audit(status=1).stdout.decode()
        self.assertNotIn("\x1b", text)
        parsed = subprocess.run(["xmllint", "--noout", reports[3]], capture_output=True)
        self.assertEqual(0, parsed.returncode, parsed.stderr)

    def test_many_files_and_deep_folders(self):
        crowd = self.archive.at("crowd")
        crowd.mkdir()
        for i in range(20000):
            (crowd / f"{i}.note").write_bytes(b"")
        deep = self.archive.archive
        for _ in range(400):
            deep = deep / "deep"
        os.makedirs(deep)
        (deep / "bottom.note").write_bytes(b"note")
        self.assertEqual(set(), self.codes())

    @unittest.skipIf(SANITIZED, "a sanitizer's own memory is no measure")
    def test_memory_does_not_grow_with_what_is_read(self):
        peaks = []
        for size in (0, 1 << 30):
            with open(self.archive.at("hole.bin"), "wb") as out:
                out.truncate(size)
            peaks.append(self.peak(self.archive))
        self.assertLess(peaks[1], peaks[0] + (48 << 10), "KiB, with a GiB of one file")
        peaks = []
        for jobs in (20, 200):
            with tempfile.TemporaryDirectory() as folder:
                desk.run(desk.MAKE_ARCHIVE, folder, "--jobs", jobs, status=0)
                self.archive.archive = pathlib.Path(folder) / "archive"
                peaks.append(self.peak(self.archive))
        self.assertLess(peaks[1], peaks[0] + (32 << 10), "KiB, at 20 and at 200 jobs")

    @staticmethod
    def peak(archive):
        run = subprocess.Popen([desk.CALSEAL, "audit", archive.archive, "--trust", archive.trust, "--depth", "proved"], stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL)
        _, status, usage = os.wait4(run.pid, 0)
        run.returncode = status
        assert status == 0, status
        return usage.ru_maxrss

    def test_files_that_change_while_they_are_read(self):
        draw = random.Random(SEED)
        paths = [self.archive.at(p) for p in self.archive.paths(".calseal", ".bin", ".json", ".jsonl") if not p.startswith("ledger/")]
        whole = {p: p.read_bytes() for p in paths}
        over = threading.Event()

        def disturb():
            while not over.is_set():
                path = draw.choice(paths)
                data = whole[path]
                act = draw.randrange(4)
                if act == 0:
                    path.write_bytes(data[:draw.randrange(len(data))])
                elif act == 1:
                    path.write_bytes(data + draw.randbytes(draw.randrange(1 << 16)))
                elif act == 2:
                    path.unlink(missing_ok=True)
                else:
                    path.write_bytes(data)

        thread = threading.Thread(target=disturb)
        thread.start()
        try:
            for _ in range(15):
                self.assertIn(self.archive.audit("--depth", "proved").returncode, (0, 1), f"CALSEAL_SEED={SEED}")
        finally:
            over.set()
            thread.join()

    def test_every_file_replaced_by_noise_or_by_another(self):
        """Whatever stands anywhere: it ends with 0 or 1, and its JSON is whole."""
        draw = random.Random(SEED)
        contents = list(desk.files_of(self.archive.mirror).values())
        paths = self.archive.paths()
        for turn in range(40):
            for path in draw.sample(paths, draw.randrange(1, len(paths))):
                act = draw.randrange(5)
                data = bytearray(draw.choice(contents))
                if act == 0:
                    data = bytearray(draw.randbytes(draw.randrange(5000)))
                elif act == 1:
                    data = data[:draw.randrange(len(data) + 1)]
                elif act == 2 and data:
                    for _ in range(draw.randrange(1, 9)):
                        data[draw.randrange(len(data))] = draw.choice(b"\x00\xff\n{}[]\":,0123456789ab")
                elif act == 3 and data:
                    at = draw.randrange(len(data))
                    data[at:at] = draw.choice(contents)[:draw.randrange(2000)]
                self.archive.at(path).write_bytes(data)
            for more in ((), ("--mirror", self.archive.mirror, "--heal")):
                done = self.archive.audit("--depth", "proved", "--json", *more)
                self.assertIn(done.returncode, (0, 1), f"turn {turn}, CALSEAL_SEED={SEED}: {done.stderr[-2000:]}")
                json.loads(done.stdout)


if __name__ == "__main__":
    unittest.main()
