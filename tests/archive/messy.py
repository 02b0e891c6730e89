"""Faults in an archive as it lies on a real disk: names with spaces, line ends and umlauts, loops of links, second names of one file, a
pipe, files of other programs. What is harmful must be found and named; what is not must stay Clean. Written from docs/audit.md alone,
apart from faults.py, which has its own list of faults and its own idea of what names them.

usage: messy.py [--seeds N] [--first S] [--jobs N]
"""

import argparse
import collections
import json
import os
import pathlib
import random
import re
import shutil
import sys
import zipfile

import desk

FOLDERS = ["jobs/with a space", "jobs/line\nend", "jobs/Käse und Öl", "jobs/-dash", "deep/er/and deeper/one", "jobs/100%", "jobs/tab\there"]
SECTOR = 512


class MessyTree:
    """The archive that make_archive makes, with its jobs moved about, among other things."""

    def __init__(self, jobs, seed):
        self.archive = desk.Archive(jobs)
        self.root = self.archive.archive
        draw = random.Random(seed)
        self.jobs = {}  # folder -> name of the job
        for job, folder in zip(sorted((self.root / "jobs").iterdir()), draw.sample(FOLDERS, jobs)):
            place = self.root / folder
            place.parent.mkdir(parents=True, exist_ok=True)
            job.rename(place)
            self.jobs[folder] = job.name
        self.litter(draw)
        shutil.rmtree(self.archive.mirror)
        shutil.copytree(self.root, self.archive.mirror, symlinks=True, copy_function=copy_anything, ignore=pipes)

    def litter(self, draw):
        other = self.root / "other things"
        other.mkdir()
        os.symlink("..", other / "up")
        os.symlink("itself", other / "itself")
        os.symlink("/no/such/place", other / "nowhere")
        os.mkfifo(other / "pipe")
        with zipfile.ZipFile(other / "holiday.zip", "w") as zipped:
            zipped.writestr("a.txt", draw.randbytes(700))
        (other / "invoice.pdf").write_bytes(b"%PDF-1.4\n" + draw.randbytes(900))
        (other / ".DS_Store").write_bytes(b"\0\0\0\1Bud1" + bytes(90))
        (other / "nothing").write_bytes(b"")
        (pathlib.Path(os.fsdecode(os.fsencode(other) + b"/\xff\xfe.bin"))).write_bytes(draw.randbytes(200))
        bundle = draw.choice(sorted(self.root.rglob("r1.calseal")))
        os.link(bundle, other / "second name.calseal")
        (self.root / "lost+found").mkdir()

    def restore(self):
        shutil.rmtree(self.root)
        shutil.copytree(self.archive.mirror, self.root, symlinks=True)
        os.mkfifo(self.root / "other things/pipe")

    def files(self):
        return [p for p in sorted(self.root.rglob("*")) if p.is_file() and not p.is_symlink()]

    def job_of(self, path):
        for folder, job in self.jobs.items():
            if path == folder or path.startswith(folder + "/"):
                return job
        return ""

    def within(self, place):
        return str(place.relative_to(self.root))


def copy_anything(source, target):
    shutil.copy2(source, target, follow_symlinks=False)


def pipes(folder, names):
    return [n for n in names if pathlib.Path(folder, n).is_fifo()]


class Done:
    """What was done: where it must show; whether it must at all, and by a record alone."""

    def __init__(self, what, victims, harmful=True, by_record=False):
        self.what, self.victims, self.harmful, self.by_record = what, victims, harmful, by_record


class Maker:
    def __init__(self, tree, draw):
        self.tree, self.draw = tree, draw
        self.kinds = [getattr(self, name) for name in sorted(dir(self)) if name.startswith("do_")]

    # --- what nothing but a record protects

    def unproved(self, place):
        path = self.tree.within(place)
        name = place.name
        if path.startswith("other things/"):
            return name != "second name.calseal"
        return "/edited/" in path or name in ("events.jsonl", "job.json")

    def any(self, wanted=lambda place: True):
        return self.draw.choice([p for p in self.tree.files() if wanted(p) and p.stat().st_size])

    def replaced(self, what, place, data):
        """Under a new inode, so that a second name keeps the old bytes."""
        old = place.read_bytes()
        place.unlink()
        place.write_bytes(data)
        # A salt is its 64 digits, with or without an end of the line.
        same = data == old or place.name == "job.salt" and data == old.rstrip(b"\n")
        return Done(what, [self.tree.within(place)], not same, self.unproved(place))

    def do_flip_one_bit(self):
        place = self.any()
        data = bytearray(place.read_bytes())
        data[self.draw.randrange(len(data))] ^= 1 << self.draw.randrange(8)
        return self.replaced("one bit flipped", place, bytes(data))

    def do_zero_a_sector(self):
        place = self.any()
        data = bytearray(place.read_bytes())
        begin = self.draw.randrange((len(data) + SECTOR - 1) // SECTOR) * SECTOR
        data[begin:begin + SECTOR] = bytes(len(data[begin:begin + SECTOR]))
        return self.replaced("a sector of zeros", place, bytes(data))

    def do_zero_whole(self):
        place = self.any()
        return self.replaced("all zeros", place, bytes(place.stat().st_size))

    def do_cut(self):
        place = self.any()
        data = place.read_bytes()
        return self.replaced("cut off", place, data[:self.draw.randrange(len(data))])

    def do_append(self):
        place = self.any()
        return self.replaced("bytes at the end", place, place.read_bytes() + self.draw.randbytes(self.draw.randrange(1, 2000)))

    def do_another_files_bytes(self):
        """A copy of a file of the same name over it, as a wrong drag with the mouse leaves it."""
        place = self.any()
        others = [p for p in self.tree.files() if p.name == place.name and p != place and p.read_bytes() != place.read_bytes()]
        if not others:
            return self.do_cut()
        return self.replaced("another file's bytes", place, self.draw.choice(others).read_bytes())

    def do_lose_a_file(self):
        place = self.any()
        place.unlink()
        path = self.tree.within(place)
        needed = place.name in ("events.jsonl", "job.json")
        # A second name is none that anything asks for; neither is a list or trust file, or a head beside bundles.
        free = place.name in ("second name.calseal", "sent.head", "shop.trust", "shop.withdrawals") or path.startswith("ledger/heads/")
        return Done("a file lost", [path], True, free or self.unproved(place) and not needed)

    def do_lose_several(self):
        places = self.draw.sample([p for p in self.tree.files() if p.suffix == ".calseal" and p.name != "second name.calseal"], 3)
        for place in places:
            place.unlink()
        return Done("three bundles lost", [self.tree.within(p) for p in places])

    def do_lose_a_job(self):
        folder = self.draw.choice(sorted(self.tree.jobs))
        shutil.rmtree(self.tree.root / folder)
        return Done("a job lost", [folder])

    def do_a_pipe_in_its_place(self):
        place = self.any(lambda p: p.suffix == ".calseal" and p.name != "second name.calseal")
        place.unlink()
        os.mkfifo(place)
        return Done("a pipe in its place", [self.tree.within(place)])

    def do_a_folder_behind_a_link(self):
        folder = self.draw.choice(sorted(self.tree.jobs))
        place = self.tree.root / folder / "base-1"
        away = self.tree.archive.root / "away"
        shutil.rmtree(away, ignore_errors=True)
        place.rename(away)
        os.symlink(away, place)
        return Done("a folder moved away, a link in its place", [folder])

    def do_empty_the_archive(self):
        for place in self.tree.root.iterdir():
            place.unlink() if place.is_symlink() or not place.is_dir() else shutil.rmtree(place)
        return Done("emptied", ["."])

    # --- the ledger

    def do_lose_the_ledger(self):
        shutil.rmtree(self.tree.root / "ledger")
        return Done("the ledger lost", ["ledger"])

    def do_a_new_ledger(self):
        """Somebody who was found out makes a ledger that fits."""
        ledger = self.tree.root / "ledger"
        shutil.rmtree(ledger)
        desk.run(desk.CALSEAL, "ledger", "new", ledger, status=0)
        for bundle in self.tree.files():
            if bundle.suffix == ".calseal" and bundle.name != "second name.calseal":
                desk.run(desk.CALSEAL, "ledger", "append", ledger, "sealed", bundle, "--trust", self.tree.archive.trust, status=0)
        return Done("a new ledger from all bundles", ["ledger"])

    def lines(self, name):
        return (self.tree.root / "ledger" / name).read_bytes().splitlines(keepends=True)

    def do_take_out_an_entry(self):
        entries, details = self.lines("entries.jsonl"), self.lines("details.jsonl")
        at = self.draw.randrange(len(details))
        del entries[at + 1]
        (self.tree.root / "ledger/entries.jsonl").write_bytes(b"".join(entries))
        if self.draw.random() < 0.5:
            del details[at]
            (self.tree.root / "ledger/details.jsonl").write_bytes(b"".join(details))
        return Done("an entry taken out", ["ledger"])

    def do_an_older_ledger(self):
        """All of it as it was before the last entries, and a tip that fits."""
        keep = self.draw.randrange(1, len(self.lines("details.jsonl")))
        for name, more in (("entries.jsonl", 1), ("details.jsonl", 0)):
            lines = self.lines(name)[:keep + more]
            (self.tree.root / "ledger" / name).write_bytes(b"".join(lines))
        (self.tree.root / "ledger/tip.json").unlink()
        shutil.rmtree(self.tree.root / "ledger/heads")
        desk.run(desk.CALSEAL, "ledger", "repair", self.tree.root / "ledger", status=0)
        return Done("an older ledger", ["ledger"])

    # --- what harms nobody

    def do_rename_a_job(self):
        folder = self.draw.choice(sorted(self.tree.jobs))
        (self.tree.root / folder).rename(self.tree.root / "renamed ä")
        return Done("a job renamed", [folder], harmful=False)

    def do_add_strangers(self):
        (self.tree.root / "holiday\n2.zip").write_bytes(b"PK\3\4" + self.draw.randbytes(300))
        (self.tree.root / "jobs/readme").write_bytes(self.draw.randbytes(100))
        return Done("files of others added", [], harmful=False)

    def do_touch(self):
        for place in self.tree.files():
            os.utime(place, (1, 1))
        return Done("other times", [], harmful=False)

    def do_copy_bundles(self):
        copies = self.tree.root / "copies"
        copies.mkdir()
        for i, bundle in enumerate(self.draw.sample([p for p in self.tree.files() if p.suffix == ".calseal"], 3)):
            shutil.copy(bundle, copies / f"copy {i}")
        return Done("copies of bundles", [], harmful=False)


def real_name(text):
    """A name as the file system has it, from a report."""
    raw = re.sub(rb"%([0-9A-F]{2})", lambda m: bytes([int(m.group(1), 16)]), text.encode())
    return os.fsdecode(raw)


def names(finding, done, tree):
    """Whether a finding is about what was done: at its place, below it, above it, or about its job."""
    path = real_name(finding["path"])
    told = finding["subject"] + " " + finding["text"]
    for victim in done.victims:
        job = tree.job_of(victim)
        if victim == "." or path == victim or path.startswith(victim + "/") or path and victim.startswith(path + "/") or job and job in told:
            return True
        if victim.split("/")[0] == "ledger" and finding["code"].startswith("ledger-"):
            return True
    return False


class Counts(collections.Counter):
    def text(self):
        return (f"{self['harmful']} harmful, {self['found']} found, {self['named']} named; {self['by-record']} more that only a record shows, "
                f"{self['by-record-found']} of them found with one; {self['harmless']} harmless; "
                f"{self['false-clean']} false Clean, {self['false']} false findings, at most {self['most']} findings for one fault")


def audit(tree, *more):
    done = tree.archive.audit(*more, "--json")
    if done.returncode not in (0, 1):
        raise AssertionError(f"status {done.returncode}: {done.stderr.decode(errors='replace')[-800:]}")
    report = json.loads(done.stdout.decode("utf-8"))
    findings = [f for f in report["findings"] if f["severity"] != "note" and f["age"] != "gone"]
    if (done.returncode == 0) != report["clean"] or report["clean"] != (not findings):
        raise AssertionError("status, clean and findings do not agree")
    return findings


def try_one(tree, seed, counts):
    """Problems with one fault, tried without and with the record."""
    draw = random.Random(seed)
    maker = Maker(tree, draw)
    done = maker.kinds[seed % len(maker.kinds)]()
    wrong = []
    depth = ["--depth", draw.choice(["stored", "proved"])]
    for record in (False, True):
        findings = audit(tree, *depth, *(["--since", tree.archive.record] if record else []))
        about = f"seed {seed}, {done.what} {done.victims}, {'with' if record else 'without'} record: "
        counts["most"] = max(counts["most"], len(findings))
        if not done.harmful:
            counts["harmless"] += 1
            if findings and not record:  # a record rightly misses what was renamed
                counts["false"] += len(findings)
                wrong.append(about + f"false: {findings}"[:900])
            continue
        strays = [f for f in findings if not names(f, done, tree)]
        if strays:
            counts["false"] += len(strays)
            wrong.append(about + f"not about it: {strays}"[:900])
        if done.by_record and not record:
            counts["by-record"] += 1
            continue
        counts["by-record-found" if done.by_record else "harmful"] += bool(findings) if done.by_record else 1
        if not findings:
            counts["false-clean"] += 1
            wrong.append(about + "Clean")
            continue
        counts["found"] += not done.by_record
        if len(strays) < len(findings):
            counts["named"] += not done.by_record
        else:
            wrong.append(about + f"not named: {findings}"[:900])
    return wrong


def try_many(seeds, jobs=3, say=lambda text: None):
    tree = MessyTree(jobs, seeds[0])
    counts = Counts()
    wrong = []
    try:
        first = audit(tree, "--depth", "proved", "--record", tree.archive.record)
        if first:
            counts["false"] += len(first)
            wrong.append(f"untouched: {first}")
        for seed in seeds:
            for problem in try_one(tree, seed, counts):
                wrong.append(problem)
                say(problem)
            tree.restore()
    finally:
        tree.archive.close()
    return wrong, counts


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=300)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=3)
    options = parser.parse_args()
    wrong, counts = try_many(range(options.first, options.first + options.seeds), options.jobs, print)
    print(f"seeds {options.first} to {options.first + options.seeds - 1}: {counts.text()}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
