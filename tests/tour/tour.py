#!/usr/bin/env python3
"""The tour in docs/tour, kept true: every command of its pages is run again with the real programs, in order, and what it says is
compared with what stands in the page. Digests, spoken numbers and sizes of sealed files differ from shop to shop and are left out.

  tour.py              compares; links and pictures too
  tour.py --write      writes the pages anew with what came
  tour.py --pictures   takes the pictures anew, in Debian's Chromium
"""

import os
import pathlib
import re
import subprocess
import sys
import tempfile

HERE = pathlib.Path(__file__).resolve().parent
PROJECT = HERE.parent.parent
TOUR = PROJECT / "docs/tour"
LEAST_SIZE, MOST_SIZE = 2_000, 150_000  # bytes of a picture
PAGES = ("tuner", "day", "customer", "parcel", "auditor")


def masked(text):
    """What is the same whichever keys and salts were drawn."""
    text = re.sub(r"[0-9a-f]{12,}", "HEX", text)
    text = re.sub(r"\b[KMQ](?:\s+\d{4}){5,13}\b", "SPOKEN", text)
    text = re.sub(r"(?m)^((?:  bundle|made|sealed|written|PARCEL|.*\.calseal).*?)[\d,]+ bytes", r"\1SIZE", text)
    text = re.sub(r"index of \S+", "index of TIME", text)
    text = re.sub(r"\d+ days ago", "DAYS days ago", text)
    return re.sub(r"(?m)^(  looked at.*?)[\d,]+ bytes in all", r"\1SIZE in all", text)


class Replay:
    """A scratch folder in which a page's commands run."""

    def __init__(self, folder):
        self.folder = folder
        programs = [str(pathlib.Path(os.environ[name]).parent) for name in ("CALSEAL", "CALSEAL_CHECK", "CALSEAL_DEMO_DATA")]
        self.environment = {"PATH": os.pathsep.join([*programs, "/usr/bin", "/bin"]), "HOME": str(folder), "LC_ALL": "C.UTF-8",
                            "TERM": "dumb", "MAPS": str(PROJECT / "fixtures/demo"),
                            "CALSEAL_PASSPHRASE": "a passphrase for the demo only"}

    def run(self, command):
        return subprocess.run(["bash", "-c", command], cwd=self.folder, env=self.environment, stdout=subprocess.PIPE,
                              stderr=subprocess.STDOUT, text=True, timeout=600, check=False)

    def prepare(self, script):
        done = self.run("set -euo pipefail\n" + script)
        if done.returncode != 0:
            raise SystemExit(f"preparing failed:\n{script}\n{done.stdout}")


def replay_page(text, replay):
    """The page with every output as it comes now. `<!-- prepare ... -->` runs and shows nothing; in a ```console block a line
    that begins with "$ " is a command, which a backslash continues."""
    out, lines, i = [], text.split("\n"), 0
    in_console = False
    while i < len(lines):
        line = lines[i]
        i += 1
        out.append(line)
        if line.startswith("<!-- prepare"):
            script = []
            while lines[i] != "-->":
                script.append(lines[i])
                i += 1
            replay.prepare("\n".join(script))
            out += script
        elif line == "```console":
            in_console = True
        elif line == "```":
            in_console = False
        elif in_console and line.startswith("$ "):
            command = line[2:]
            while command.endswith("\\"):
                out.append(lines[i])
                command = command[:-1] + lines[i]
                i += 1
            # Where the scratch folder is, is nobody's business.
            out += replay.run(command).stdout.replace(f"{replay.folder}/", "").rstrip("\n").splitlines()
            while lines[i] != "```" and not lines[i].startswith("$ "):
                i += 1
    return "\n".join(out)


def first_difference(expected, actual):
    for a, b in zip(expected.split("\n") + [""], actual.split("\n") + [""]):
        if a != b:
            return f"  page says  {a}\n  it says    {b}"
    return "  one is longer"


def missing_links(path):
    """Files that a page leads to and that are not there."""
    text = path.read_text()
    named = [target.split("#")[0] for target in re.findall(r"\]\(([^)\s]+)\)", text) if "://" not in target]
    return [target for target in named if target and not (path.parent / target).exists()]


def pictures_of(text):
    return re.findall(r"!\[([^\]]*)\]\((?:docs/tour/)?([^)]+)\)", text)


def check_pictures():
    faults, shown = [], set()
    for path in [*(TOUR / f"{name}.md" for name in PAGES), TOUR / "README.md", PROJECT / "README.md"]:
        faults += [f"{path.name}: no file {target}" for target in missing_links(path)]
        for words, name in pictures_of(path.read_text()):
            shown.add(name)
            picture = TOUR / name
            if len(words) < 20:
                faults.append(f"{path.name}: {name} is told in too few words")
            if picture.exists() and not LEAST_SIZE < picture.stat().st_size < MOST_SIZE:
                faults.append(f"{name}: {picture.stat().st_size} bytes")
            if picture.exists() and picture.read_bytes()[8:12] != b"WEBP":
                faults.append(f"{name}: is no WebP picture")
    faults += [f"{path.name}: shown nowhere" for path in TOUR.glob("*.webp") if path.name not in shown]
    return faults


def replay_all(write):
    faults = []
    for name in PAGES:
        path = TOUR / f"{name}.md"
        with tempfile.TemporaryDirectory(prefix="calseal-tour-") as folder:
            before = path.read_text()
            after = replay_page(before, Replay(folder))
        if write:
            path.write_text(after)
        elif masked(before) != masked(after):
            faults.append(f"{path.name}: not what the programs say; tests/tour/tour.py --write\n" +
                          first_difference(masked(before), masked(after)))
    return faults


def main():
    if "--pictures" in sys.argv:
        sys.path[:0] = [str(HERE)]
        from tour_pictures import take_pictures
        for name in PAGES:
            with tempfile.TemporaryDirectory(prefix="calseal-tour-") as folder:
                replay_page((TOUR / f"{name}.md").read_text(), Replay(folder))
                take_pictures(name, pathlib.Path(folder), TOUR)
    faults = replay_all("--write" in sys.argv) + check_pictures()
    for fault in faults:
        print(fault)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
