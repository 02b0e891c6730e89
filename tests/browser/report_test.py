#!/usr/bin/env python3
"""Reports as people open them: `calseal report` writes pages about real bundles and a real job, Debian's Chromium opens them
from disk, narrow and wide, light and dark, and prints them; axe-core judges each; nothing is fetched and nothing runs.

CALSEAL_PICTURES=FOLDER keeps pictures and prints.
"""

import datetime
import hashlib
import html.parser
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import unittest

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / "cli/e2e")]

from chromium import Chromium
from curve_desk import CurveDesk
from demo_desk import MAPS, DemoDesk
from desk import CALSEAL

PICTURES = os.environ.get("CALSEAL_PICTURES")
HOSTILE = "<img src=x onerror=alert(1)>\"'&amp;</title>"
VOID = {"meta", "br", "col", "hr"}
ARCHIVE_BEGINS = "2026-03-01T00:00:00Z"


def stretched(record):
    """A record of an archive that was made in one go, as if a month lay between its minutes."""
    begin = datetime.datetime.fromisoformat(ARCHIVE_BEGINS[:-1])

    def later(match):
        time = match.group(2)
        if time < ARCHIVE_BEGINS:
            return match.group(0)
        minutes = (datetime.datetime.fromisoformat(time[:-1]) - begin).total_seconds() / 60
        return match.group(1) + (begin + datetime.timedelta(days=31 * minutes)).strftime("%Y-%m-%dT%H:%M:%SZ")

    lines = record.splitlines(keepends=True)[:-1]
    body = "".join(re.sub(r'((?:claimed_)?time":")([^"]{20})', later, line) for line in lines)
    files = sum(line.startswith('{"file"') for line in lines)
    return body + '{"end":%d,"digest":"%s"}\n' % (files, hashlib.sha256(body.encode()).hexdigest())


class Outline(html.parser.HTMLParser):
    """Whether every element is closed where it was opened; which elements and ids there are; what could load something."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.names, self.ids, self.suspects = [], set(), [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, name, attributes):
        self.names.add(name)
        for key, value in attributes:
            if key == "id":
                self.ids.append(value)
            if key in ("src", "href", "action", "style", "srcset", "xlink:href") or key.startswith("on"):
                self.suspects.append((name, key, value))
        if name not in VOID:
            self.open.append(name)

    def handle_endtag(self, name):
        if not self.open or self.open.pop() != name:
            raise AssertionError(f"</{name}> closes something else")


class Reports(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = DemoDesk()
        cls.desk.seal_engine()
        cls.desk.seal_on("r0", "flash=" + cls.desk.data("engine-r2-flash.bin"), "r2", "--parent", cls.desk.at("r1.calseal"),
                         "--title", "second tune", "--caution", "runs hotter", "--requirement", "fuel of 98 octane")
        cls.browsers = {width: Chromium(width) for width in (360, 1280)}

    @classmethod
    def tearDownClass(cls):
        for browser in cls.browsers.values():
            browser.__exit__()
        cls.desk.close()

    def report(self, name, *arguments, status=0):
        path = self.desk.at(name + ".html")
        self.made = self.desk.json(CALSEAL, "report", *arguments, "-o", path, status=status)
        return pathlib.Path(path)

    def evidence(self, *more):
        return ["--trust", self.desk.at("shop.trust"), *more]

    def accepted(self):
        return self.report("accepted", self.desk.at("r2.calseal"), *self.evidence("--salt", self.desk.at("oak.salt")),
                           *self.desk.engine_read(), "--beside", self.desk.at("r0.calseal"), "--beside", self.desk.at("r1.calseal"))

    def look(self, path):
        """Opens a page everywhere and finds nothing to complain about."""
        text = path.read_text()
        outline = Outline(text)
        self.assertEqual(outline.open, [])
        self.assertEqual(outline.suspects, [])
        self.assertEqual(len(outline.ids), len(set(outline.ids)))
        self.assertLessEqual(outline.names & {"script", "img", "iframe", "object", "link", "form", "a", "image", "use"}, set())
        for width, browser in self.browsers.items():
            for scheme in ("light", "dark"):
                browser.command("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
                browser.open(path)
                with self.subTest(path.name, width=width, scheme=scheme):
                    self.assertEqual(browser.overflow(), 0)
                    self.assertEqual(browser.violations(), [])
                    self.assertEqual(browser.complaints(), [])
                if PICTURES:
                    browser.picture(pathlib.Path(PICTURES) / f"{path.stem}-{width}-{scheme}.png")
        browser = self.browsers[1280]
        browser.command("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": "dark"}])
        printed = pathlib.Path(PICTURES or self.desk.root) / (path.stem + ".pdf")
        browser.print_to(printed)
        data = printed.read_bytes()
        self.assertTrue(data.startswith(b"%PDF-"))
        self.assertGreater(len(re.findall(rb"/Type\s*/Page\b", data)), 0)
        return browser

    def test_an_accepted_revision(self):
        page = self.accepted()
        browser = self.look(page)
        text = browser.text()
        for words in ("ACCEPTED", "Revision 2", "second tune", "runs hotter", "fuel of 98 octane", "blue estate", "monitor-limits-mirror",
                      "this one"):
            self.assertIn(words.lower(), text.lower())
        # Twenty-odd changed places in four mebibytes show, at both widths.
        for width, browser in self.browsers.items():
            browser.open(page)
            strip = browser.find("svg.strip")
            self.assertGreater(strip.size["width"], width / 2)
            pins = browser.find_all("svg.strip")[0].find_elements("css selector", ".pin")
            self.assertGreater(len(pins), 3)
            self.assertTrue(all(pin.rect["width"] >= 6 for pin in pins))
        self.assertGreater(len(browser.find_all("svg.curve polyline.before")), 5)
        self.assertGreater(len(browser.find_all("svg.cells")), 3)

    def test_the_values_are_the_images_own(self):
        """A number of a curve, before and after, computed here from the files themselves."""
        self.browsers[1280].open(self.accepted())
        browser = self.browsers[1280]
        before, after = self.desk.bytes_of("engine-a-flash.bin"), self.desk.bytes_of("engine-r2-corrected-flash.bin")
        at = 0x290020 + 8 * 0x80  # curve[8], 16 values of 16 bits, a tenth of a newton metre each
        value = lambda data, i: int.from_bytes(data[at + 2 * i:at + 2 * i + 2], "little")
        text = lambda number: (f"{number // 10}.{number % 10}" if number % 10 else str(number // 10))
        changed = [i for i in range(16) if value(before, i) != value(after, i)]
        self.assertGreater(len(changed), 0)
        grid = browser.driver.execute_script(
            "return [...document.querySelectorAll('table.grid')].find(t => t.caption.textContent.startsWith('points of curve curve[8],')).innerHTML")
        for i in changed:
            sign = "▲" if value(after, i) > value(before, i) else "▼"
            self.assertIn(f'<span class="sign">{sign}</span>{text(value(after, i))}</strong><del>{text(value(before, i))}</del>', grid)

    def claims_only(self, text):
        """What nobody vouches for is told as a claim, wherever it is told."""
        for fact in ("Against the base of this job, as it was read.", "Everything that differs from the base", "in the words of the shop",
                     "calibration items in it."):
            self.assertNotIn(fact, text)
        for heading, claim in (("At a glance", "What the bundle claims to change"), ("By region", "that the bundle claims to differ"),
                               ("Memory", "the changes that the bundle claims"), ("From near", "if the bundle is what it says")):
            if heading.lower() in text.lower().splitlines():
                self.assertIn(claim, text)

    def test_curves_over_axes_that_moved(self):
        desk = CurveDesk()
        self.addCleanup(desk.close)
        desk.seal(random.Random(7))
        browser = self.look(desk.report("--beside", desk.at("r0.calseal")))
        self.assertGreater(len(browser.find_all("p.axis-changed")), 0)
        self.assertGreater(len(browser.find_all("svg.cells .axis-moved")), 0)

    def test_a_revision_that_nobody_verified(self):
        browser = self.look(self.report("unverified", self.desk.at("r1.calseal")))
        self.assertIn("NOT VERIFIED", browser.text())
        self.assertIn("The values before are not known here.", browser.text())
        self.claims_only(browser.text())

    def test_the_way_back(self):
        page = self.report("way-back", self.desk.at("r0.calseal"), *self.evidence())
        browser = self.look(page)
        self.assertIn("AUTHENTIC", browser.text())
        self.assertIn("nothing changed", browser.text())

    def test_a_refused_revision(self):
        data = bytearray(pathlib.Path(self.desk.at("r1.calseal")).read_bytes())
        data[len(data) // 2] ^= 1
        self.desk.put("bent.calseal", bytes(data))
        page = self.report("refused", self.desk.at("bent.calseal"), *self.evidence(), status=1)
        browser = self.look(page)
        self.assertIn("REFUSED", browser.text())
        self.assertIn("stored-digest", browser.text())
        self.assertIn("Do not write anything from this bundle.", browser.text())
        self.claims_only(browser.text())

    def test_hostile_words_of_a_bundle(self):
        self.desk.seal_on("r0", "flash=" + self.desk.data("engine-r1-flash.bin"), "hostile", "--title", HOSTILE, "--caution", HOSTILE,
                          "--requirement", HOSTILE + "x" * 140, "--annotate", "name=" + HOSTILE)
        page = self.report("hostile", self.desk.at("hostile.calseal"), *self.evidence(), "--beside", self.desk.at("r0.calseal"))
        self.assertNotIn("<img", page.read_text())
        browser = self.look(page)
        self.assertIn(HOSTILE, browser.text())
        self.assertEqual(browser.driver.execute_script("return document.scripts.length + document.images.length"), 0)

    def test_a_job(self):
        desk = self.desk
        folder = desk.at("elm-3")
        read = ["flash=" + desk.data("engine-a-flash.bin"), "eeprom=" + desk.data("engine-a-eeprom.bin")]
        desk.must(CALSEAL, "job", "new", *read, "--regions", MAPS / "engine.regions.json", "--vehicle", "blue estate", *desk.signing(), "-o", folder)
        for fact, time in (("sent", "2026-03-05T08:00:00Z"), ("acknowledged", "2026-03-06T19:30:00Z")):
            desk.must(CALSEAL, "job", "note", folder, fact, "--revision", "0", "--detail", "counter", "--time", time)
        corrected = ["flash=" + desk.data("engine-r1-flash.bin")]
        desk.must(CALSEAL, "job", "send", folder, *corrected, "--no-options", "--title", "first tune", *desk.signing())
        desk.must(CALSEAL, "job", "note", folder, "withdrawn", "--revision", "1", "--detail", HOSTILE, "--time", "2026-04-01T10:00:00Z")
        engine = folder + "/engine"
        page = self.report("job", engine, *self.evidence())
        browser = self.look(page)
        text = browser.text()
        self.assertNotIn("ALL SEALS HOLD", text)
        self.assertTrue(browser.find_all(".verdict.bad"))
        for words in ("REVISION 1 IS WITHDRAWN", "newest is revision 1, which is withdrawn", "Job elm-3", "first tune", "Next step", HOSTILE):
            self.assertIn(words, text)
        self.assertEqual(self.report("job-again", engine, *self.evidence()).read_bytes(), page.read_bytes())
        whole = self.look(self.report("vehicle", folder, *self.evidence())).text()
        for words in ("WITHDRAWN", "engine revision 1", "Job elm-3", "first tune", "Next steps", HOSTILE):
            self.assertIn(words, whole)
        desk.json(CALSEAL, "evidence", folder, "--trust", desk.at("shop.trust"), "-o", desk.at("elm-3-evidence"))
        self.assertIn("ALL FILES HOLD", self.look(pathlib.Path(desk.at("elm-3-evidence"), "evidence.html")).text())
        told = self.look(pathlib.Path(desk.at("elm-3-evidence"), "controllers/engine/evidence.html")).text()
        for words in ("ALL FILES HOLD", "Proved", "Asserted", "Unknown", "What caused a failure.", HOSTILE):
            self.assertIn(words, told)
        pathlib.Path(folder, "engine/base-1/r1.calseal").unlink()
        self.assertIn("1 FINDING", self.look(self.report("job-broken", engine, *self.evidence(), status=1)).text())

    def test_an_audit(self):
        root = pathlib.Path(self.desk.at("audited"))
        subprocess.run([os.environ["CALSEAL_MAKE_ARCHIVE"], root, "--jobs", "9"], check=True, capture_output=True)

        def audit(name, status, *more):
            done = subprocess.run([CALSEAL, "audit", root / "archive", "--trust", root / "shop.trust", "--record", root / name, "--json",
                                   *more], capture_output=True, check=False)
            self.assertEqual(done.returncode, status, done.stderr)
            return json.loads(done.stdout)

        shutil.copytree(root / "archive", root / "copy")
        audit("clean.record", 0, "--depth", "proved")
        browser = self.look(self.report("audit-clean", root / "clean.record"))
        self.assertIn("CLEAN", browser.text())
        self.assertEqual(self.made["report"]["errors"], 0)

        jobs = root / "archive/jobs"
        damaged = bytearray((jobs / "job-00001/base-1/r1.calseal").read_bytes())
        damaged[len(damaged) // 2] ^= 1
        (jobs / "job-00001/base-1/r1.calseal").write_bytes(damaged)
        (jobs / "job-00002/base-1/r3.calseal").unlink()
        shutil.rmtree(jobs / "job-00004")
        (jobs / "<img src=x>").symlink_to("/nowhere")
        found = audit("faults.record", 1, "--depth", "proved", "--since", root / "clean.record")["findings"]
        for name in ("clean", "faults"):
            (root / f"{name}-years.record").write_text(stretched((root / f"{name}.record").read_text()))
        page = self.report("audit", root / "faults-years.record", "--since", root / "clean-years.record", status=1)
        browser = self.look(page)
        text = browser.text()
        errors = [f for f in found if f["severity"] == "error"]
        self.assertGreater(len(errors), 5)
        for words in (f"{len(errors)} ERRORS", "job-00001/base-1/r1.calseal", "bundle-damaged", "missing", "file-gone", "<img src=x>",
                      "What to do:", "link-not-followed", "Claimed and witnessed", "a head of the shop"):
            self.assertIn(words, text)
        for code in {f["code"] for f in found}:
            self.assertEqual(len([a for a in browser.find_all("article.cause > p > code") if a.text == code]), 1)
        # Each revision stands in the month that it claims: 36 in 36 months, with findings where they were made.
        told = [cell.get_attribute("textContent") for cell in browser.find_all("table.calendar td .unseen")]
        self.assertEqual(sum("1 revision sealed" in words for words in told), 36)
        dated = [f for f in errors if f["code"] in ("bundle-damaged", "missing")]
        self.assertEqual(sum("error" in words for words in told), len(dated))

        # Put right again: what was found is gone.
        shutil.rmtree(root / "archive")
        shutil.copytree(root / "copy", root / "archive")
        audit("mended.record", 0)
        browser = self.look(self.report("audit-mended", root / "mended.record", "--since", root / "faults.record"))
        self.assertIn("CLEAN AS STORED", browser.text())
        self.assertIn("does not prove that revisions stay within their areas", browser.text())
        # That a file is gone shows only against an audit before; the record by itself tells all else.
        self.assertEqual(self.made["report"]["gone"], len([f for f in found if f["code"] != "file-gone"]))

        # What is no whole record is refused, and nothing is written.
        (root / "bent.record").write_text((root / "clean.record").read_text().replace('"size":', '"size":1', 1))
        audit("part.record", 0, "--part", "1/2")
        for name, reason in (("bent", "audit-record-invalid"), ("part", "audit-record-other")):
            said = self.desk.json(CALSEAL, "report", root / f"{name}.record", "-o", self.desk.at(f"{name}.html"), status=1)
            self.assertEqual(said["reason"], reason)
            self.assertFalse(pathlib.Path(self.desk.at(f"{name}.html")).exists())


if __name__ == "__main__":
    unittest.main()
