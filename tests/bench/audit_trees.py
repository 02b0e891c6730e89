"""Audits of a warm tree, beside general-purpose tools that hash the same files, in one run: every command is run in turns, and medians
of wall time are printed as GB/s; then how time and memory grow with the archive.

usage: audit_trees.py FOLDER_OF_PROGRAMS SCRATCH [JOBS [ROUNDS [FIRST_READS]]]      (packages: hashdeep, rhash, openssl, util-linux)

Jobs are the demonstration's engine: 4 MiB of flash, four revisions each, first reads kept once by digest, payload areas stored. 16 first reads
in all unless FIRST_READS says otherwise: 0 for one of its own for every job.
"""

import json
import os
import pathlib
import platform
import shutil
import statistics
import subprocess
import sys
import time

PROJECT = pathlib.Path(__file__).resolve().parents[2]
ENGINE = PROJECT / "fixtures/demo/engine.regions.json"


def sh(command, **more):
    done = subprocess.run(["bash", "-c", command], capture_output=True, check=False, **more)
    if done.returncode != 0:
        sys.exit(f"{command}: exit {done.returncode}\n{done.stdout.decode()[-2000:]}{done.stderr.decode()[-2000:]}")
    return done.stdout.decode()


def measured(command):
    """Wall seconds, peak KiB of the largest process, bytes that came from a disk."""
    start = time.perf_counter()
    run = subprocess.Popen(["bash", "-c", command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(run.pid, 0)
    seconds = time.perf_counter() - start
    run.returncode = status
    if status != 0:
        sys.exit(f"{command}: status {status}")
    return seconds, usage.ru_maxrss, usage.ru_inblock * 512


class Tree:
    def __init__(self, programs, folder, jobs, first_reads):
        self.folder, self.jobs = pathlib.Path(folder), jobs
        self.calseal = programs / "calseal"
        shutil.rmtree(self.folder, ignore_errors=True)
        sh(f"{programs}/calseal_make_archive {self.folder} --jobs {jobs} --engine {ENGINE} --packing stored --stocks {first_reads or jobs}")
        self.archive = self.folder / "archive"
        self.files = sorted(p for p in self.archive.rglob("*") if p.is_file())
        self.bytes = sum(p.stat().st_size for p in self.files)
        self.list = self.folder / "files"
        self.list.write_text("".join(f"{p}\n" for p in self.files))

    def warm(self):
        """Reads everything, and counts the bytes that are in the page cache then."""
        sh(f"xargs -a {self.list} cat > /dev/null")
        cached = sum(int(line) for line in sh(f"xargs -a {self.list} fincore --bytes --noheadings --output RES").split())
        return cached

    def audit(self, depth):
        return f"{self.calseal} audit {self.archive} --trust {self.folder}/shop.trust --depth {depth} --json"

    def peers(self):
        known = self.folder
        sh(f"sha256sum $(head -1 {self.list}) > /dev/null; xargs -a {self.list} sha256sum > {known}/sums")
        sh(f"split -n l/2 {known}/sums {known}/half.; split -l 32 {known}/sums {known}/few.")
        sh(f"hashdeep -c sha256 -r {self.archive} > {known}/hashdeep")
        sh(f"rhash --sha256 -r {self.archive} -o {known}/rhash")
        return {
            "`hashdeep -a -c sha256` (its own threads)": f"hashdeep -a -c sha256 -k {known}/hashdeep -r {self.archive}",
            "`rhash --sha256 -c` (one thread)": f"rhash --sha256 -c {known}/rhash",
            "`sha256sum -c`, two processes": f"ls {known}/half.* | xargs -P2 -n1 sha256sum -c --quiet",
            "`openssl dgst -sha256`, 32 files a process, `xargs -P2`": f"xargs -a {self.list} -P2 -n32 openssl dgst -sha256",
        }


def evp_two_threads():
    """Bytes a second of `openssl speed` on two processes: SHA-256 of 4 MiB that are in the processor's cache or memory already."""
    lines = sh("openssl speed -multi 2 -evp sha256 -bytes 4194304 -seconds 3 2>/dev/null").splitlines()
    return float(lines[-1].split()[-1].rstrip("k")) * 1000


def main():
    programs, scratch = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2]).resolve()
    jobs = int(sys.argv[3]) if len(sys.argv) > 3 else 2000
    rounds = int(sys.argv[4]) if len(sys.argv) > 4 else 7
    first_reads = int(sys.argv[5]) if len(sys.argv) > 5 else 16
    growth = []
    for count in (jobs // 4, jobs // 2, jobs):
        tree = Tree(programs, scratch / "tree", count, first_reads)
        cached = tree.warm()
        row = [count, len(tree.files), tree.bytes, cached]
        for depth in ("stored", "proved"):
            runs = [measured(tree.audit(depth)) for _ in range(3)]
            row += [statistics.median(r[0] for r in runs), max(r[1] for r in runs), sum(r[2] for r in runs)]
        growth.append(row)
        if count != jobs:
            shutil.rmtree(tree.folder)
    report = json.loads(sh(tree.audit("proved")))
    assert report["clean"] and report["proved"] == jobs * 4, report
    commands = {"calseal audit, stored": tree.audit("stored"), "calseal audit, proved": tree.audit("proved"), **tree.peers()}
    times = {name: [] for name in commands}
    evp = []
    for command in commands.values():
        measured(command)
    cached = tree.warm()
    from_disk = 0
    for _ in range(rounds):
        evp.append(evp_two_threads())
        for name, command in commands.items():
            seconds, _, disk = measured(command)
            times[name].append(seconds)
            from_disk += disk
    speed = {name: tree.bytes / statistics.median(t) / 1e9 for name, t in times.items()}
    two = statistics.median(evp) / 1e9
    stored = speed["calseal audit, stored"]
    cpu = next((line.split(":")[1].strip() for line in open("/proc/cpuinfo") if line.startswith("model name")), platform.machine())
    print(f"{jobs:,} jobs on {first_reads or jobs:,} first reads, {len(tree.files):,} files, {tree.bytes / 1e9:.2f} GB; {cached / tree.bytes:.1%} of it in the page cache before, and {from_disk:,} bytes read from a disk "
          f"during all rounds. {cpu}, {os.cpu_count()} processors; medians of {rounds} rounds in turns.\n")
    print("| | GB/s | stored beside it |\n| --- | --- | --- |")
    for name, value in [*speed.items(), ("SHA-256 by EVP alone, two processes, nothing read (`openssl speed`)", two)]:
        print(f"| {name} | {value:.2f} | {stored / value:.2f} |")
    print("\nDepth *stored* does not prove confinement; *proved* does.\n")
    print("| jobs | files | GB | cached | stored, s | peak MiB | proved, s | peak MiB |\n| --- | --- | --- | --- | --- | --- | --- | --- |")
    for count, files, size, held, s, sm, _, p, pm, _ in growth:
        print(f"| {count:,} | {files:,} | {size / 1e9:.2f} | {held / size:.1%} | {s:.2f} | {sm / 1024:.0f} | {p:.2f} | {pm / 1024:.0f} |")
    shutil.rmtree(tree.folder)


if __name__ == "__main__":
    main()
