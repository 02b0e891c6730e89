#!/usr/bin/env python3
"""Reports on paper: Debian's Chromium prints them, poppler reads the text of the printed pages, and that text is compared with the images.

CALSEAL_PICTURES=FOLDER keeps the prints.
"""

import os
import pathlib
import re
import subprocess
import sys
import unittest

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / "cli/e2e")]

from chromium import Chromium
from demo_desk import MAPS, DemoDesk
from desk import CALSEAL

CURVES, POINTS = 128, 16
PLACES = {  # first element in the image, stride, elements, factor, decimals: as the demo's region map declares them
    "curve": (0x290020, 0x80, CURVES, 16, 10), "monitor": (0x2E0020, 0x80, 16, 16, 10), "table0": (0x2A0040, 0x240, 56, 256, 100)}
EDGE = re.compile(r"^page (\d+) of (\d+)$", re.M)


def number(stored, factor):
    whole, rest = divmod(stored, factor)
    return f"{whole}.{str(rest).zfill(len(str(factor)) - 1)}".rstrip("0") if rest else str(whole)


def pages_of(path):
    """The text of each printed page, in the order of drawing."""
    done = subprocess.run(["pdftotext", "-raw", path, "-"], capture_output=True, text=True, check=True)
    return done.stdout.split("\f")[:-1]


def changed_elements(before, after):
    """(item, element, before, after) of every changed number of the demo's curves and tables."""
    for name, (start, stride, count, elements, factor) in PLACES.items():
        for i in range(count):
            for k in range(elements):
                at = start + i * stride + 2 * k
                old, new = (int.from_bytes(data[at:at + 2], "little") for data in (before, after))
                if old != new:
                    place = f"[{k // 16}][{k % 16}]" if name == "table0" else f"[{k}]"
                    yield f"{name}[{i}]", place, number(old, factor), number(new, factor), new > old


class Paper(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = DemoDesk()
        cls.desk.seal_engine()
        cls.desk.seal_on("r0", "flash=" + cls.desk.data("engine-r2-flash.bin"), "r2", "--parent", cls.desk.at("r1.calseal"),
                         "--title", "second tune")
        cls.browser = Chromium(1280)

    @classmethod
    def tearDownClass(cls):
        cls.browser.__exit__()
        cls.desk.close()

    def report(self, name, *arguments, status=0):
        path = self.desk.at(name + ".html")
        self.desk.json(CALSEAL, "report", *arguments, "-o", path, status=status)
        return path

    def printed(self, path):
        """Its printed pages."""
        self.browser.open(path)
        self.assertEqual(self.browser.complaints(), [])
        target = pathlib.Path(os.environ.get("CALSEAL_PICTURES", self.desk.root), pathlib.Path(path).stem + "-paper.pdf")
        self.browser.print_to(target)
        return pages_of(target)

    def assert_edges(self, printed, about, state, identity):
        self.assertGreater(len(printed), 0)
        for i, page in enumerate(printed):
            lines = page.splitlines()
            with self.subTest(page=i + 1):
                self.assertEqual(EDGE.findall(page), [(str(i + 1), str(len(printed)))])
                for line in (f"{about} {state}", "identity " + identity):
                    self.assertIn(line, lines)

    def identity(self, name):
        return self.desk.json(CALSEAL, "show", self.desk.at(name + ".calseal"))["identity"]

    def evidence(self, *more):
        return ["--trust", self.desk.at("shop.trust"), *more]

    def assert_values(self, printed, before, after):
        """Every changed number stands on paper under its item's name, with the sign of its way."""
        text = "\n".join(printed)
        text = text[text.rindex("\nValues\n"):]
        rows, item = {}, None
        for line in text.splitlines():
            head = re.match(r"((?:curve|monitor|table0)\[\d+\])(, .*)?$", line)
            item = head.group(1) if head else item
            row = re.match(r"(\[\d+\](?:\[\d+\])?) .*?([-\d.]+) ([-\d.]+) ([▲▼•]) ([-+\d.]+)$", line)
            if row and item:
                rows[item, row.group(1)] = row.groups()[1:4]
        right = {(item, place): (old, new, "▲" if rose else "▼") for item, place, old, new, rose in changed_elements(before, after)}
        self.assertGreater(len(right), 100)
        self.assertEqual({key: rows.get(key) for key in right}, right)
        return rows

    def test_an_accepted_revision_has_every_value_on_paper(self):
        path = self.report("accepted", self.desk.at("r2.calseal"), *self.evidence("--salt", self.desk.at("oak.salt")),
                           *self.desk.engine_read(), "--beside", self.desk.at("r0.calseal"))
        printed = self.printed(path)
        self.assert_values(printed, self.desk.bytes_of("engine-a-flash.bin"), self.desk.bytes_of("engine-r2-corrected-flash.bin"))
        self.assert_edges(printed, "Revision 2 of job oak-17, engine", "verified, proved", self.identity("r2"))
        # No item names the bytes of these; so paper has them, although the screen folds them.
        self.assertIn("0x80143f28", "\n".join(printed))
        self.assertRegex("\n".join(printed), r"0x802b19[0-9a-f]{2} \d+ ")

    def test_items_beyond_the_drawn_ones_are_listed(self):
        before = self.desk.bytes_of("engine-a-flash.bin")
        after = bytearray(before)
        start, stride = PLACES["curve"][:2]
        for i in range(CURVES):
            at = start + i * stride + 2 * (POINTS - 1)
            value = int.from_bytes(after[at:at + 2], "little")
            after[at:at + 2] = (value + (7 if i % 2 else -7)).to_bytes(2, "little")
        self.desk.put("many.bin", bytes(after))
        self.desk.seal_on("r0", "flash=" + self.desk.at("many.bin"), "many")
        path = self.report("many", self.desk.at("many.calseal"), *self.evidence(), "--beside", self.desk.at("r0.calseal"))
        printed = self.printed(path)
        rows = self.assert_values(printed, before, bytes(after))
        self.assertEqual(len(rows), CURVES)
        self.assertEqual(len(self.browser.find_all("svg.curve")), 60)
        self.assertIn("their numbers are under Values", " ".join("\n".join(printed).split()))
        self.assert_edges(printed, self.browser.driver.title, "verified, claimed", self.identity("many"))

    def test_what_nobody_vouches_for_is_no_fact(self):
        bundle = self.desk.at("r1.calseal")
        other = self.evidence("--salt", self.desk.at("oak.salt"), *self.desk.engine_read("engine-b-flash.bin", "engine-b-eeprom.bin"))
        for name, arguments, status, state in (("refused", [bundle, *other], 1, "REFUSED, DRAFT, claimed"),
                                               ("unverified", [bundle], 0, "DRAFT, claimed")):
            printed = self.printed(self.report(name, *arguments, "--beside", self.desk.at("r0.calseal"), status=status))
            text = " ".join("\n".join(printed).split())
            with self.subTest(name):
                self.assert_edges(printed, "Revision 1 of job oak-17, engine", state, self.identity("r1"))
                word = "REFUSED" if name == "refused" else "NOT VERIFIED"
                self.assertLess(text.index(word, text.index("Revision report")), text.index("At a glance"))
                self.assertIn("bytes claimed to be edited", text)
                # "12 bytes changed" is a fact; "12 bytes claimed to change" is not.
                self.assertEqual(re.findall(r"[\d,]+ (?:bytes|points|cells|values) changed.{0,30}", text), [])
                self.assertNotRegex(text, r"✓ holds|bytes edited|nothing changed")

    def test_a_job_on_paper(self):
        desk, folder = self.desk, self.desk.at("ash-5")
        read = ["flash=" + desk.data("engine-a-flash.bin"), "eeprom=" + desk.data("engine-a-eeprom.bin")]
        desk.must(CALSEAL, "job", "new", *read, "--regions", MAPS / "engine.regions.json", "--vehicle", "blue estate", *desk.signing(), "-o", folder)
        for fact in ("sent", "acknowledged"):
            desk.must(CALSEAL, "job", "note", folder, fact, "--revision", "0", "--detail", "counter", "--time", "2026-03-05T08:00:00Z")
        desk.must(CALSEAL, "job", "send", folder, "flash=" + desk.data("engine-r1-flash.bin"), "--no-options", "--title", "first tune",
                  *desk.signing())
        for fact, time in (("sent", "2026-03-07T08:00:00Z"), ("acknowledged", "2026-03-08T19:30:00Z"), ("written", "2026-03-09T10:00:00Z"),
                           ("remark", "2026-03-06T10:00:00Z")):
            desk.must(CALSEAL, "job", "note", folder, fact, "--revision", "1", "--detail", "told by telephone", "--time", time)
        printed = self.printed(self.report("job", folder + "/engine", *self.evidence()))
        newest = desk.json(CALSEAL, "show", folder + "/engine/base-1/r1.calseal")["identity"]
        self.assert_edges(printed, "Job ash-5, engine, newest revision 1", "verified, claimed", newest)
        text = " ".join("\n".join(printed).split())
        story = text[text.index("The story"):text.index("Over time")]
        # By date, not in the order of noting; and who says so.
        self.assertEqual(re.findall(r"2026-03-0[6-9]", story), [f"2026-03-0{day}" for day in (6, 7, 8, 9)])
        for words in ("the customer, as the shop noted", "its word alone", "the shop, signed", "what was sealed is proved"):
            self.assertIn(words, story)
        desk.must(CALSEAL, "job", "note", folder, "withdrawn", "--revision", "1", "--detail", "knocks", "--time", "2026-04-01T10:00:00Z")
        printed = self.printed(self.report("job-withdrawn", folder + "/engine", *self.evidence()))
        self.assert_edges(printed, "Job ash-5, engine, newest revision 1", "WITHDRAWN, verified, claimed", newest)
        self.assertLess(printed[0].index("REVISION 1 IS WITHDRAWN"), printed[0].index("Next step"))

    def test_legends_never_cover_one_another(self):
        root = pathlib.Path(self.desk.at("audited"))
        subprocess.run([os.environ["CALSEAL_MAKE_ARCHIVE"], root, "--jobs", "3"], check=True, capture_output=True)
        done = subprocess.run([CALSEAL, "audit", root / "archive", "--trust", root / "shop.trust", "--record", root / "a.record"],
                              capture_output=True, check=False)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        path = self.report("audit", root / "a.record")
        # Words as long as a legend's longest, so that it does not hang on what this archive holds.
        lengthen = ("document.querySelectorAll('.legend.keys').forEach(list => {"
                    " for (let i = 0; i < 3; ++i) list.append(list.lastElementChild.cloneNode(true));"
                    " list.querySelectorAll('.key').forEach(key => key.append(', witnessed by nobody'))})")
        boxes = ("return [...document.querySelectorAll('.legend')].map(list => [...list.querySelectorAll('.key')].map(key => {"
                 " const box = key.getBoundingClientRect(); return [box.left, box.top, box.right, box.bottom]}))")
        for width in (360, 700, 1100, 1280, 1600):
            self.browser.command("Emulation.setDeviceMetricsOverride", width=width, height=800, deviceScaleFactor=1, mobile=False)
            self.browser.open(path)
            self.browser.driver.execute_script(lengthen)
            for keys in self.browser.driver.execute_script(boxes):
                for i, a in enumerate(keys):
                    for b in keys[:i]:
                        apart = a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] - 1 or b[1] >= a[3] - 1
                        self.assertTrue(apart, (width, a, b))


if __name__ == "__main__":
    unittest.main()
