"""Every row of reasons.inc must be named by a test: a reason that no test expects is one that nobody has seen work.

    python3 tests/cli/reasons_reached.py PROJECT

Named means the enumerator (kReadMissing) in a C++ test, the quoted or bracketed code ("read-missing", [read-missing]) in a
script or in what a command line case must print. There is no list of exceptions: even `internal`, `out-of-memory` and `interrupted` are reached.
"""

import pathlib
import re
import sys

# These name reasons without reaching them.
NOT_TESTS = {"reasons_reached.py", "reason_test.cc"}


def rows(project):
    text = (project / "src/calseal/base/reasons.inc").read_text()
    return re.findall(r'^CALSEAL_REASON\((k\w+), "([a-z-]+)"', text, re.MULTILINE)


def test_texts(project):
    tests = project / "tests"
    cpp = [p for p in sorted(tests.rglob("*.cc")) + sorted(tests.rglob("*.h"))]
    scripts = [p for p in tests.rglob("*.py")] + [p for p in (tests / "cli/cases").iterdir()]
    bad_maps = [project / "fixtures/region_maps/bad.txt"]
    keep = lambda paths: [p.read_text(errors="replace") for p in paths if p.name not in NOT_TESTS]
    return "\n".join(keep(cpp)), "\n".join(keep(scripts + bad_maps))


def main():
    project = pathlib.Path(sys.argv[1]).resolve()
    table = rows(project)
    if len(table) < 50:
        sys.exit(f"only {len(table)} reasons read from reasons.inc")
    cpp, scripts = test_texts(project)
    enumerators = set(re.findall(r"\bReason::(k\w+)\b", cpp))
    codes = set(re.findall(r"[\[\"']([a-z]+(?:-[a-z]+)*)[\]\"']", scripts))
    failures = 0
    for enumerator, code in table:
        reached = enumerator in enumerators or code in codes
        if not reached:
            print(f"no test names {code} ({enumerator})")
            failures += 1
    print(f"{len(table)} reasons, {failures} without a test")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
