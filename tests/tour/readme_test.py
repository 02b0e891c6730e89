#!/usr/bin/env python3
"""The README's first screen, kept true: the demo passes and prints what stands there, the names and links are there, and every page of
docs/ is linked."""

import os
import pathlib
import re
import subprocess
import unittest

PROJECT = pathlib.Path(__file__).resolve().parents[2]
README = (PROJECT / "README.md").read_text(encoding="utf-8")


def shown(command):
    """The lines that the README shows under a command of its first block."""
    block = re.search(r"```console\n(.*?)```", README, re.DOTALL).group(1)
    for part in block.split("$ ")[1:]:
        head, *lines = part.splitlines()
        if head.split()[0] == command:
            return lines
    raise AssertionError(f"no {command} in the README")


class FirstScreen(unittest.TestCase):
    def test_the_demo_passes_and_prints_what_the_readme_shows(self):
        folder = pathlib.Path(os.environ["CALSEAL"]).parent
        done = subprocess.run([PROJECT / "fixtures/demo/run", folder], capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 0, done.stdout[-3000:] + done.stderr[-3000:])
        printed = iter(done.stdout.splitlines())
        lines = shown("fixtures/demo/run")
        self.assertGreater(len(lines), 4)
        for line in lines:
            self.assertIn(line, printed)  # in this order: `in` moves the iterator on
        self.assertEqual(lines[-1], done.stdout.splitlines()[-1])

    def test_the_tests_print_what_ctest_prints(self):
        self.assertEqual(shown("tests/run"), ["100% tests passed, 0 tests failed out of NUMBER"])
        self.assertTrue(os.access(PROJECT / "tests/run", os.X_OK))

    def test_links_and_pages(self):
        links = set(re.findall(r"\]\(([^)#]+)", README))
        for link in links:
            self.assertTrue((PROJECT / link).exists(), link)
        for page in (PROJECT / "docs").glob("*.md"):
            self.assertIn(f"docs/{page.name}", links)


if __name__ == "__main__":
    unittest.main()
