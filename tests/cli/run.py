#!/usr/bin/env python3
"""Runs the command line cases; see README.md."""

import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import zlib

sys.dont_write_bytecode = True  # the source tree stays as it is
import make_fixtures  # noqa: E402

HERE = pathlib.Path(__file__).resolve().parent
PROJECT = HERE.parent.parent
REQUIRED = {"cmd", "exit"}
OPTIONAL = {"stdout", "stderr", "absent", "present", "unprivileged"}
TIMEOUT = 60  # seconds; only a hang takes as long
NOBODY = 65534


class CaseError(Exception):
    """The case itself is wrong, whatever the program does."""


def line_pattern(line):
    parts = re.split(r"(\\\*|\*)", line)
    return "".join({"*": ".*", "\\*": r"\*"}.get(part, re.escape(part)) for part in parts)


def matches(expected, actual):
    """Whether the whole of `actual` fits `expected`."""
    pattern = ""
    for line in expected.splitlines(keepends=True):
        pattern += "(?:[^\n]*\n)*" if line in ("**\n", "**") else line_pattern(line)
    return re.fullmatch(pattern, actual) is not None


def first_difference(expected, actual):
    wanted, found = expected.splitlines(), actual.splitlines()
    for number, line in enumerate(wanted):
        if line == "**":
            return "from the first ** on"
        if number >= len(found) or re.fullmatch(line_pattern(line), found[number]) is None:
            return f"line {number + 1}, expected: {line}"
    return f"line {len(wanted) + 1}: more than expected" if len(found) > len(wanted) else "the last line end"


def sections_of(text):
    """The sections of a case by name, each with its lines."""
    sections, name = {}, None
    for line in text.splitlines(keepends=True):
        if line.startswith("=== "):
            name = line[4:].rstrip("\n")
            if name in sections:
                raise CaseError(f"twice: {name}")
            sections[name] = ""
        elif name is None:
            raise CaseError("something stands before the first section")
        else:
            sections[name] += line
    return sections


def read_case(path):
    case = sections_of(path.read_text(encoding="utf-8"))
    if missing := REQUIRED - case.keys():
        raise CaseError(f"missing: {', '.join(sorted(missing))}")
    if unknown := case.keys() - REQUIRED - OPTIONAL:
        raise CaseError(f"unknown: {', '.join(sorted(unknown))}")
    if not re.fullmatch(r"\d{1,3}\n", case["exit"]):
        raise CaseError("exit: not a number in a line")
    for name in ("absent", "present"):
        if name in case and not case[name].strip():
            raise CaseError(f"{name}: names nothing")
    return {"stdout": "", "stderr": ""} | case


def environment(scratch):
    env = {name: os.environ[name] for name in ("PATH", "ASAN_OPTIONS", "UBSAN_OPTIONS") if name in os.environ}
    for name in ("CALSEAL", "CALSEAL_CHECK"):
        if name in os.environ:
            env[name] = str(pathlib.Path(os.environ[name]).resolve())
    env["CALSEAL_FIXTURES"] = os.environ.get("CALSEAL_FIXTURES", str(PROJECT / "fixtures"))
    env["CALSEAL_DOCS"] = str(PROJECT / "docs")
    env |= {"LC_ALL": "C", "TERM": "dumb", "HOME": str(scratch), "TMPDIR": str(scratch)}
    return env


def run_as(case, scratch, env):
    """The user to run as: None for ours, "skip" when no other can run the program."""
    if "unprivileged" not in case or os.geteuid() != 0:
        return None
    for path in [scratch, *scratch.rglob("*")]:
        os.chown(path, NOBODY, NOBODY)
    try:
        tried = subprocess.run([env["CALSEAL"], "--version"], cwd=scratch, user=NOBODY, group=NOBODY, extra_groups=[], capture_output=True)
    except OSError:
        return "skip"
    return NOBODY if tried.returncode == 0 else "skip"


def run_case(path, fixtures):
    """A list of complaints, empty when the case holds; or the word "skip"."""
    case = read_case(path)
    with tempfile.TemporaryDirectory(prefix="calseal-cli-") as name:
        scratch = pathlib.Path(name) / "work"
        shutil.copytree(fixtures, scratch)
        pathlib.Path(name).chmod(0o755)
        env = environment(scratch)
        user = run_as(case, scratch, env)
        if user == "skip":
            return "skip"
        as_user = {} if user is None else {"user": user, "group": user, "extra_groups": []}
        try:
            done = subprocess.run(["bash", "-c", case["cmd"]], cwd=scratch, env=env, stdin=subprocess.DEVNULL, capture_output=True,
                                  timeout=TIMEOUT, **as_user)
        except subprocess.TimeoutExpired:
            return [f"still running after {TIMEOUT} seconds"]
        complaints = []
        if done.returncode != int(case["exit"]):
            complaints.append(f"exit {done.returncode}, expected {case['exit'].strip()}")
        for stream in ("stdout", "stderr"):
            text = getattr(done, stream).decode("utf-8", "backslashreplace")
            if not matches(case[stream], text):
                complaints.append(f"{stream}: {first_difference(case[stream], text)}\n{text}")
        for made in case.get("absent", "").splitlines():
            if os.path.lexists(scratch / made):
                complaints.append(f"{made} exists")
        for made in case.get("present", "").splitlines():
            if not os.path.lexists(scratch / made):
                complaints.append(f"{made} does not exist")
        complaints += [f"litter: {made.relative_to(scratch)}" for made in scratch.rglob(".*")]
        return complaints


def main(arguments, cases=HERE / "cases"):
    if "CALSEAL" not in os.environ:
        print("CALSEAL does not name the program")
        return 2
    share = int(os.environ.get("CALSEAL_CASE_SHARE", "1"))
    paths = sorted(path for path in cases.iterdir() if (path.stem in arguments if arguments else zlib.crc32(path.stem.encode()) % share == 0))
    if not paths or len(paths) < len(arguments):
        print("no such case" if arguments else "no cases at all")
        return 1
    counts = {"passed": 0, "failed": 0, "skipped": 0}
    with tempfile.TemporaryDirectory(prefix="calseal-cli-fixtures-") as name:
        make_fixtures.write_all(pathlib.Path(name))
        for path in paths:
            try:
                complaints = run_case(path, pathlib.Path(name))
            except (CaseError, OSError, UnicodeDecodeError) as error:
                complaints = [f"the case is wrong: {error}"]
            result = "skipped" if complaints == "skip" else "failed" if complaints else "passed"
            counts[result] += 1
            if result != "passed":
                print(f"{result}: {path.stem}")
                print("".join(f"  {complaint}\n" for complaint in complaints if result == "failed"), end="")
    print(", ".join(f"{count} {result}" for result, count in counts.items()))
    return 1 if counts["failed"] or not counts["passed"] else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
