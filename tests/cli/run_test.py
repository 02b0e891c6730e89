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

GOOD = {"cmd": "echo one; echo two >&2; touch made\n", "exit": "0\n", "stdout": "one\n", "stderr": "two\n"}


class Runner(unittest.TestCase):
    def verdict(self, *cases):
        """Exit status and output of a suite of cases, each a dictionary of sections, or the text itself."""
        os.environ["CALSEAL"] = "/bin/true"
        with tempfile.TemporaryDirectory() as name:
            for number, case in enumerate(cases):
                text = case if isinstance(case, str) else "".join(f"=== {key}\n{lines}" for key, lines in case.items())
                (pathlib.Path(name) / f"case{number}.txt").write_text(text)
            out = io.StringIO()
            with contextlib.redirect_stdout(out):
                status = run.main([], pathlib.Path(name))
            return status, out.getvalue()

    def test_a_case_that_holds_passes(self):
        self.assertEqual(self.verdict(GOOD), (0, "1 passed, 0 failed, 0 skipped\n"))

    def test_each_wrong_expectation_fails(self):
        for change, word in [({"exit": "1\n"}, "exit 0"), ({"stdout": "on\n"}, "stdout"), ({"stdout": ""}, "stdout"), ({"stdout": "one\n\n"}, "stdout"),
                             ({"stderr": "two\nthree\n"}, "stderr"), ({"absent": "made\n"}, "made exists"),
                             ({"present": "other\n"}, "other does not exist"), ({"cmd": "echo one; echo two >&2; touch .x\n"}, "litter")]:
            status, text = self.verdict(GOOD, GOOD | change)
            self.assertEqual(status, 1, change)
            self.assertIn(word, text)

    def test_malformed_cases_fail(self):
        for name in run.REQUIRED:
            self.assertIn("missing: " + name, self.verdict({key: GOOD[key] for key in GOOD if key != name})[1])
        whole = "=== cmd\ntrue\n=== exit\n0\n"
        self.assertEqual(self.verdict(whole)[0], 0)
        for wrong in (GOOD | {"stdot": ""}, GOOD | {"exit": "no\n"}, GOOD | {"absent": "\n"}, "true\n" + whole, whole + "=== exit\n0\n",
                      whole[:-1], ""):
            status, text = self.verdict(wrong)
            self.assertEqual(status, 1, wrong)
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
