"""The example of docs/cpp-api.md is the program that is tested here: its image is the demo's, and calseal-check takes its bundles.

usage: example_test.py EXAMPLE
"""

import os
import pathlib
import re
import subprocess
import sys
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests/cli/e2e"))
from demo_desk import MAPS, DemoDesk
from desk import CALSEAL_CHECK, PASSPHRASE

EXAMPLE = sys.argv.pop(1)


class Example(unittest.TestCase):
    def setUp(self):
        self.desk = DemoDesk()
        self.addCleanup(self.desk.close)

    def run_example(self, edited):
        arguments = [EXAMPLE, MAPS / "transmission.regions.json", self.desk.data("transmission-a.s19"), self.desk.data(edited),
                     self.desk.at("shop.trust"), self.desk.at("author.key"), PASSPHRASE, self.desk.out]
        return subprocess.run(arguments, capture_output=True, text=True, check=False)

    def test_an_edit_becomes_the_image_to_write(self):
        done = self.run_example("transmission-r1.s19")
        self.assertEqual((done.returncode, done.stderr), (0, ""), done.stdout)
        self.assertRegex(done.stdout, r"^corrected [1-9]\d* places\nsealed revision 1\n$")
        self.assertEqual((self.desk.out / "image").read_bytes(), self.desk.bytes_of("transmission-r1-corrected.s19"))
        self.desk.must(CALSEAL_CHECK, self.desk.out / "r1.calseal", "--trust", self.desk.at("shop.trust"),
                       "--read", self.desk.data("transmission-a.s19"), "--read-is-fresh", "--vehicle", "blue estate")

    def test_a_fault_is_said(self):
        done = self.run_example("transmission-b.s19")
        self.assertEqual(done.returncode, 1)
        self.assertRegex(done.stdout, r"^change-[a-z]+: ")

    def test_the_page_shows_this_program(self):
        page = (ROOT / "docs/cpp-api.md").read_text()
        shown = re.findall(r"```cpp\n(.*?)```", page, re.S)
        self.assertEqual(shown, [(ROOT / "tests/api/example.cc").read_text()])


if __name__ == "__main__":
    unittest.main()
