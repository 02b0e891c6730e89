"""Seeded faults in an archive: each must be found and named rightly, and healed to the byte.

usage: faults.py [--count N] [--seed S] [--depth stored|proved] [--jobs N]
"""

import argparse
import json
import pathlib
import random
import shutil
import sys

import desk

LEDGER_CODES = {"ledger-unreadable", "ledger-entry-unreadable", "ledger-entries-missing", "ledger-tip-missing", "ledger-tip-differs",
                "ledger-torn", "ledger-not-acknowledged", "ledger-detail-missing", "ledger-detail-damaged", "ledger-detail-differs",
                "ledger-detail-stray", "ledger-head-rewritten", "ledger-head-ahead", "ledger-erasure-unknown"}
DAMAGED_BUNDLE = {"bundle-damaged", "signature-bad", "signer-unknown", "signature-missing", "format-unknown"}
DAMAGED_STATEMENT = {"file-damaged", "signature-bad", "signer-unknown", "file-changed"}


def names_of_damage(path):
    """The findings that name damage in this file rightly."""
    name = path.rsplit("/", 1)[-1]
    if path.startswith("ledger/heads/") or name.endswith(".head"):
        return DAMAGED_STATEMENT | {"ledger-head-invalid"}
    if path.startswith("ledger/"):
        return LEDGER_CODES
    if name.endswith(".calseal"):
        return DAMAGED_BUNDLE
    if "/read/" in path:
        return {"read-altered", "job-file-missing"}
    return {
        "job.salt": {"salt-altered", "file-damaged"},
        "regions.json": {"map-altered"},
        "job.json": {"file-damaged", "file-changed"},
        "events.jsonl": {"file-changed", "file-damaged", "notes-damaged"},
        "shop.trust": DAMAGED_STATEMENT,
        "shop.withdrawals": DAMAGED_STATEMENT,
    }.get(name, {"file-changed"})


def names_of_loss(path):
    name = path.rsplit("/", 1)[-1]
    if path.startswith("ledger/") and "/heads/" not in path:
        return LEDGER_CODES | {"file-gone"}
    if name.endswith(".calseal"):
        return {"missing"}
    if "/read/" in path or name in ("job.json", "events.jsonl", "job.salt", "regions.json"):
        return {"job-file-missing"}
    return {"file-gone"}


class Fault:
    """What was done, where it must show, and under which names."""

    def __init__(self, kind, paths, names, heals=True, depth=None):
        self.kind, self.paths, self.names, self.heals, self.depth = kind, paths, names, heals, depth

    def __str__(self):
        return f"{self.kind} {self.paths}"


class Faults:
    def __init__(self, archive, seed):
        self.archive = archive
        self.random = random.Random(seed)
        self.all = archive.paths()
        self.kinds = [getattr(self, name) for name in sorted(dir(self)) if name.startswith("make_")]

    def make(self, index):
        return self.kinds[index % len(self.kinds)]()

    def at(self, path):
        return self.archive.at(path)

    def any(self, *suffixes):
        return self.random.choice([p for p in self.all if not suffixes or p.endswith(suffixes)])

    def damage(self, kind, path, data):
        self.at(path).write_bytes(data)
        return Fault(kind, [path], names_of_damage(path))

    def make_bit_flip(self):
        path = self.any()
        data = bytearray(self.at(path).read_bytes())
        bit = self.random.randrange(8 * len(data))
        data[bit // 8] ^= 1 << bit % 8
        return self.damage(f"bit {bit} flipped", path, bytes(data))

    def make_bit_flip_in_bundle(self):
        path = self.any(".calseal")
        data = bytearray(self.at(path).read_bytes())
        bit = self.random.randrange(8 * len(data))
        data[bit // 8] ^= 1 << bit % 8
        return self.damage(f"bit {bit} flipped", path, bytes(data))

    def make_truncation(self):
        path = self.any()
        data = self.at(path).read_bytes()
        size = self.random.randrange(len(data))
        fault = self.damage(f"cut to {size}", path, data[:size])
        if path.endswith("heads") or not size:
            fault.names = fault.names | {"file-gone", "file-changed"}
        return fault

    def make_appended(self):
        path = self.any()
        more = self.random.randbytes(self.random.randrange(1, 40))
        fault = self.damage(f"{len(more)} bytes appended", path, self.at(path).read_bytes() + more)
        if path.endswith("events.jsonl"):
            fault.names = {"notes-damaged"}
        if path in ("ledger/entries.jsonl", "ledger/details.jsonl"):
            # As a writer leaves it who was cut off: the next append takes it out, and no copy may take its place.
            fault.names, fault.heals = {"ledger-torn"}, "by the next append"
        return fault

    def make_garbage(self):
        path = self.any()
        return self.damage("garbage", path, self.random.randbytes(self.at(path).stat().st_size))

    def make_emptied(self):
        path = self.any()
        return self.damage("emptied", path, b"")

    def make_deletion(self):
        path = self.any()
        self.at(path).unlink()
        return Fault("deleted", [path], names_of_loss(path))

    def make_bundle_deleted(self):
        path = self.any(".calseal")
        self.at(path).unlink()
        return Fault("deleted", [path], names_of_loss(path))

    def make_job_deleted(self):
        job = "/".join(self.any("job.json").split("/")[:-1])
        lost = [p for p in self.all if p.startswith(job + "/")]
        shutil.rmtree(self.at(job))
        return Fault("folder deleted", lost, {"missing", "file-gone", "job-file-missing"})

    def swap(self, a, b, names):
        one, two = self.at(a).read_bytes(), self.at(b).read_bytes()
        self.at(a).write_bytes(two)
        self.at(b).write_bytes(one)
        return Fault("swapped", [a, b] if one != two else [], names)

    def pair(self, *suffixes):
        """Two files of one kind that are not the same."""
        while True:
            a, b = self.any(*suffixes), self.any(*suffixes)
            if self.at(a).read_bytes() != self.at(b).read_bytes():
                return a, b

    def make_bundles_swapped(self):
        return self.swap(*self.pair(".calseal"), {"misplaced"})

    def make_reads_swapped(self):
        return self.swap(*self.pair("read/flash.bin", "read/eeprom.bin"), {"read-altered"})

    def make_salts_swapped(self):
        return self.swap(*self.pair("job.salt"), {"salt-altered"})

    def make_jobs_swapped(self):
        return self.swap(*self.pair("job.json"), {"job-altered"})

    def make_older_bundle(self):
        path = self.any("r1.calseal", "r2.calseal", "r3.calseal")
        older = path.replace("r3.", "r2.") if "r3." in path else path.replace("r2.", "r1.") if "r2." in path else path.replace("r1.", "r0.")
        self.at(path).write_bytes(self.at(older).read_bytes())
        return Fault("replaced by an older revision", [path], {"misplaced"})

    def make_older_statement(self):
        name = self.random.choice(["shop.trust", "shop.withdrawals"])
        self.at(name).write_bytes((self.archive.forged / name.replace("shop", "older")).read_bytes())
        return Fault("replaced by an older statement", [name], {"statement-older"})

    def forged(self, kind, names, depth=None):
        job = self.random.choice(sorted(p.name for p in self.archive.forged.iterdir() if p.is_dir()))
        path = f"jobs/{job}/base-1/r2.calseal"
        self.at(path).write_bytes((self.archive.forged / job / f"{kind}.calseal").read_bytes())
        return Fault(kind, [path], names, depth=depth)

    def make_signed_by_retired_key(self):
        return self.forged("retired", {"key-not-valid"})

    def make_signed_by_stranger(self):
        return self.forged("stranger", {"signer-unknown"})

    def make_parent_of_nobody(self):
        return self.forged("no-parent", {"parent-missing"})

    def make_parent_of_another(self):
        return self.forged("wrong-parent", {"parent-wrong"})

    def make_wrong_checksum_claimed(self):
        return self.forged("wrong-checksum", {"claim-wrong", "altered"})

    def make_wrong_changes_claimed(self):
        return self.forged("wrong-changes", {"claim-wrong", "altered"})

    def make_fork(self):
        return self.forged("fork", {"altered"})

    def make_extra(self):
        job = self.random.choice(sorted(p.name for p in self.archive.forged.iterdir() if p.is_dir()))
        path = f"jobs/{job}/base-1/r4.calseal"
        self.at(path).write_bytes((self.archive.forged / job / "extra.calseal").read_bytes())
        return Fault("extra", [path], {"extra"}, heals=False)

    def entries(self):
        return self.at("ledger/entries.jsonl").read_bytes().splitlines(keepends=True)

    def rewritten(self, kind, lines):
        self.at("ledger/entries.jsonl").write_bytes(b"".join(lines))
        return Fault(kind, ["ledger/entries.jsonl"], LEDGER_CODES)

    def make_ledger_line_removed(self):
        lines = self.entries()
        del lines[self.random.randrange(1, len(lines))]
        return self.rewritten("ledger line removed", lines)

    def make_ledger_lines_swapped(self):
        lines = self.entries()
        a, b = self.random.sample(range(1, len(lines)), 2)
        lines[a], lines[b] = lines[b], lines[a]
        return self.rewritten("ledger lines swapped", lines)

    def make_ledger_back_dated(self):
        lines = self.entries()
        at = self.random.randrange(1, len(lines))
        entry = json.loads(lines[at])
        entry["claimed_time"] = "2026-01-01T00:00:00Z"
        lines[at] = json.dumps(entry, separators=(",", ":")).encode() + b"\n"
        return self.rewritten("ledger entry back-dated", lines)

    def make_ledger_cut(self):
        keep = self.random.randrange(2, len(self.entries()))
        for name, count in (("entries.jsonl", keep), ("details.jsonl", keep - 1)):
            path = self.at("ledger/" + name)
            path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:count]))
        self.at("ledger/tip.json").unlink()
        desk.run(desk.CALSEAL, "ledger", "repair", self.at("ledger"))
        return Fault("end of the ledger cut off", ["ledger/entries.jsonl", "ledger/heads", "jobs/job-00000/sent.head"], LEDGER_CODES)

    def make_detail_removed(self):
        path = self.at("ledger/details.jsonl")
        lines = path.read_bytes().splitlines(keepends=True)
        del lines[self.random.randrange(len(lines))]
        path.write_bytes(b"".join(lines))
        return Fault("ledger detail removed", ["ledger/"], LEDGER_CODES)


def is_found(fault, findings):
    """Every place, at least one of the right names there."""
    def shows(path):
        return any(f["code"] in fault.names and (f["path"] == path or f["path"].startswith("ledger/") and path.startswith("ledger/"))
                   for f in findings)
    if fault.kind == "end of the ledger cut off":
        return any(shows(p) for p in fault.paths)
    return all(shows(p) for p in fault.paths)


def try_fault(archive, faults, index, depth):
    """None, or what went wrong."""
    fault = faults.make(index)
    arguments = ["--depth", depth, "--since", archive.record]
    findings = archive.findings(*arguments, "--mirror", archive.mirror, "--heal")
    try:
        if not is_found(fault, findings):
            return f"{fault}: not named: {json.dumps(findings)[:1500]}"
        if fault.heals is not True:
            for path in fault.paths:
                archive.at(path).unlink()
                if fault.heals:
                    shutil.copy(archive.mirror / path, archive.at(path))
        healed, good = desk.files_of(archive.archive), desk.files_of(archive.mirror)
        if healed != good:
            differing = sorted(set(healed) ^ set(good)) + [p for p in healed if p in good and healed[p] != good[p]]
            return f"{fault}: healed archive differs in {differing}; {json.dumps(findings)[:1500]}"
        if fault.heals and fault.paths and archive.findings(*arguments):
            return f"{fault}: findings after healing"
        return None
    finally:
        archive.restore()


def try_many(count, seed, depth, jobs, say=lambda text: None):
    """Faults that were missed, misnamed or not healed; none when all is well."""
    archive = desk.Archive(jobs)
    try:
        untouched = archive.json("--depth", depth, "--record", archive.record, status=0)
        if untouched["errors"] or untouched["warnings"]:
            return [f"untouched: {untouched['findings']}"]
        faults = Faults(archive, seed)
        wrong = []
        for index in range(count):
            if problem := try_fault(archive, faults, index, depth):
                wrong.append(f"fault {index} of seed {seed}: {problem}")
                say(wrong[-1])
        return wrong
    finally:
        archive.close()


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--depth", choices=["stored", "proved"], default="proved")
    parser.add_argument("--jobs", type=int, default=3)
    options = parser.parse_args()
    wrong = try_many(options.count, options.seed, options.depth, options.jobs, print)
    print(f"{options.count} faults, seed {options.seed}, depth {options.depth}: {options.count - len(wrong)} found, named rightly and healed")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
