"""A Result or Status that is called and not looked at does not compile.

usage: dropped_result_test.py COMPILER INCLUDE_FOLDERS OPTIONS   (both lists as CMake writes them)
"""

import pathlib
import re
import subprocess
import sys
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = pathlib.Path(__file__).with_name("dropped_result.cc")
COMPILER, INCLUDES, OPTIONS = sys.argv[1:]


class DroppedResult(unittest.TestCase):
    def test_exactly_the_marked_lines_are_errors(self):
        folders = [f"-I{folder}" for folder in [ROOT / "src", *INCLUDES.split(";")] if folder]
        options = [option for option in OPTIONS.split(";") if option]
        run = subprocess.run([COMPILER, "-std=c++20", "-fsyntax-only", *options, *folders, str(PROGRAM)],
                             capture_output=True, text=True, env={"LC_ALL": "C", "PATH": "/usr/bin:/bin"})
        errors = {int(line): text for line, text in re.findall(rf"{PROGRAM.name}:(\d+):\d+: error: (.*)", run.stderr)}
        marked = {number for number, line in enumerate(PROGRAM.read_text().splitlines(), 1) if line.endswith("// dropped")}
        self.assertEqual(len(marked), 7)
        self.assertEqual(set(errors), marked, run.stderr)
        self.assertTrue(all("unused-result" in text for text in errors.values()), run.stderr)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
