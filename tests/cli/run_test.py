#!/usr/bin/env python3
"""The runner must be able to fail: wrong expectations, litter, malformed cases and empty suites."""

import contextlib
import io
import os
import pathlib
import tempfile
import sys
import unittest

sys.dont_write_bytecode = True
import run  # noqa: E402

GOOD = {"cmd": "echo one; echo two >&2; touch made", "exit": "0\n", "stdout": "one\n", "stderr": "two\n"}


class Runner(unittest.TestCase):
    def verdict(self, *cases):
        """Exit status and output of a suite of cases, each a dictionary of files."""
        os.environ["CALSEAL"] = "/bin/true"
        with tempfile.TemporaryDirectory() as name:
            for number, case in enumerate(cases):
                folder = pathlib.Path(name) / f"case{number}"
                folder.mkdir()
                for file, text in case.items():
                    (folder / file).write_text(text)
            out = io.StringIO()
            with contextlib.redirect_stdout(out):
                status = run.main([], pathlib.Path(name))
            return status, out.getvalue()

    def test_a_case_that_holds_passes(self):
        self.assertEqual(self.verdict(GOOD), (0, "1 passed, 0 failed, 0 skipped\n"))

    def test_each_wrong_expectation_fails(self):
        for change, word in [({"exit": "1\n"}, "exit 0"), ({"stdout": "on\n"}, "stdout"), ({"stdout": ""}, "stdout"),
                             ({"stderr": "two\nthree\n"}, "stderr"), ({"absent": "made\n"}, "made exists"),
                             ({"present": "other\n"}, "other does not exist"), ({"cmd": "echo one; echo two >&2; touch .x"}, "litter")]:
            status, text = self.verdict(GOOD, GOOD | change)
            self.assertEqual(status, 1, change)
            self.assertIn(word, text)

    def test_malformed_cases_fail(self):
        for name in run.REQUIRED:
            self.assertIn("missing: " + name, self.verdict({key: GOOD[key] for key in GOOD if key != name})[1])
        for change in ({"stdot": ""}, {"exit": "0"}, {"exit": "no\n"}, {"absent": "\n"}):
            status, text = self.verdict(GOOD | change)
            self.assertEqual(status, 1, change)
            self.assertIn("the case is wrong", text)

    def test_an_empty_suite_fails(self):
        self.assertEqual(self.verdict()[0], 1)

    def test_wildcards(self):
        for expected, actual, fits in [("a*c\n", "abbc\n", True), ("a*c\n", "ab\nc\n", False), ("a\n**\nz\n", "a\nz\n", True),
                                       ("a\n**\nz\n", "a\nb\nc\nz\n", True), ("a\n**\nz\n", "a\nb\n", False),
                                       ("\\*\n", "*\n", True), ("\\*\n", "x\n", False), ("a.c\n", "abc\n", False), ("a\n", "a", False)]:
            self.assertEqual(run.matches(expected, actual), fits, (expected, actual))


if __name__ == "__main__":
    unittest.main()
