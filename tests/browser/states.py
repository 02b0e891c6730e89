#!/usr/bin/env python3
"""Pictures of every kind of report in every manner that people see it in: narrow to wide, light, dark, print, the colours that a system
forces, letters of twice the size. Nothing may reach out of the window; axe-core judges what it can. To be looked at, so run by hand:

usage: states.py FOLDER      (in the build tree; CALSEAL_PICTURES=FOLDER makes the tests of the customer's page keep theirs beside them)
"""

import base64
import os
import pathlib
import subprocess
import sys
import unittest

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / "cli/e2e")]

from chromium import Chromium
from demo_desk import MAPS, DemoDesk
from desk import CALSEAL

LONG = "Overspecialisedturbochargerwastegatecalibrationheadquarters60"
WIDTHS = (360, 768, 1100, 1600)
MANNERS = ("light", "dark", "print", "forced", "large")
JUDGED = {(360, "light"), (360, "dark"), (360, "large"), (1600, "light")}  # by axe-core


class States(unittest.TestCase):
    FOLDER = None

    @classmethod
    def setUpClass(cls):
        cls.desk = DemoDesk()
        cls.desk.seal_engine()
        cls.pages = dict(cls.make())
        cls.browsers = {large: Chromium(360) for large in (False, True)}
        cls.browsers[True].command("Page.setFontSizes", fontSizes={"standard": 32, "fixed": 26})

    @classmethod
    def tearDownClass(cls):
        for browser in cls.browsers.values():
            browser.__exit__()
        cls.desk.close()

    @classmethod
    def report(cls, name, *arguments, status=0):
        path = cls.desk.at(name + ".html")
        cls.desk.json(CALSEAL, "report", *arguments, "-o", path, status=status)
        return name, path

    @classmethod
    def make(cls):
        desk, at, data = cls.desk, cls.desk.at, cls.desk.data
        trust, beside = ["--trust", at("shop.trust")], ["--beside", at("r0.calseal")]
        salt = ["--salt", at("oak.salt")]
        desk.seal_on("r0", "flash=" + data("engine-r2-flash.bin"), "long", "--title", LONG, "--caution", LONG, "--requirement", LONG)
        yield cls.report("accepted", at("r1.calseal"), *trust, *salt, *desk.engine_read(), *beside)
        yield cls.report("authentic", at("r1.calseal"), *trust, *beside)
        yield cls.report("unverified", at("r1.calseal"), *beside)
        yield cls.report("refused", at("r1.calseal"), *trust, *salt, *desk.engine_read("engine-b-flash.bin", "engine-b-eeprom.bin"), *beside, status=1)
        yield cls.report("way-back", at("r0.calseal"), *trust)
        yield cls.report("long-words", at("long.calseal"), *trust)
        folder = at("oak-8")
        read = ["flash=" + data("engine-a-flash.bin"), "eeprom=" + data("engine-a-eeprom.bin")]
        desk.must(CALSEAL, "job", "new", *read, "--regions", MAPS / "engine.regions.json", "--vehicle", LONG, *desk.signing(), "-o", folder)
        for fact in ("sent", "acknowledged"):
            desk.must(CALSEAL, "job", "note", folder, fact, "--revision", "0", "--detail", "counter", "--time", "2026-03-05T08:00:00Z")
        desk.must(CALSEAL, "job", "send", folder, "flash=" + data("engine-r1-flash.bin"), "--no-options", "--title", "first tune", *desk.signing())
        yield cls.report("job", folder + "/engine", *trust)
        desk.must(CALSEAL, "job", "note", folder, "withdrawn", "--revision", "1", "--detail", LONG, "--time", "2026-04-01T10:00:00Z")
        yield cls.report("job-withdrawn", folder + "/engine", *trust)
        yield cls.report("vehicle", folder, *trust)
        root = pathlib.Path(at("audited"))
        subprocess.run([os.environ["CALSEAL_MAKE_ARCHIVE"], root, "--jobs", "3"], check=True, capture_output=True)
        for name, status in (("audit-clean", 0), ("audit-faults", 1)):
            subprocess.run([CALSEAL, "audit", root / "archive", "--trust", root / "shop.trust", "--record", root / name], capture_output=True, check=False)
            yield cls.report(name, root / name, status=status)
            (root / "archive/jobs/job-00001/base-1/r1.calseal").write_bytes(b"PK")

    def appear(self, width, manner):
        self.browser = self.browsers[manner == "large"]
        self.browser.command("Emulation.setDeviceMetricsOverride", width=width, height=800, deviceScaleFactor=1, mobile=width < 500)
        if manner == "large":
            return  # emulated media would give its letters the usual size again
        features = {"prefers-color-scheme": "dark" if manner == "dark" else "light", "forced-colors": "active" if manner == "forced" else "none"}
        self.browser.command("Emulation.setEmulatedMedia", media="print" if manner == "print" else "",
                             features=[{"name": name, "value": value} for name, value in features.items()])

    def keep(self, name, width, manner):
        """The page as far as a person scrolls; a list of values may go on for long."""
        if manner == "large":
            self.browser.command("Emulation.setDeviceMetricsOverride", width=width, height=6000, deviceScaleFactor=1, mobile=width < 500)
            shot = self.browser.command("Page.captureScreenshot", format="png")
        else:
            height = min(12000, self.browser.command("Page.getLayoutMetrics")["cssContentSize"]["height"])
            shot = self.browser.command("Page.captureScreenshot", format="png", captureBeyondViewport=True,
                                        clip={"x": 0, "y": 0, "width": width, "height": height, "scale": 1})
        (self.FOLDER / f"{name}.png").write_bytes(base64.b64decode(shot["data"]))

    def test_every_state(self):
        wanted = set(os.environ.get("CALSEAL_STATES", "").split())  # names of pages, of manners; none of either: all
        for name in [name for name in self.pages if name in wanted] or self.pages:
            for manner in [manner for manner in MANNERS if manner in wanted] or MANNERS:
                for width in WIDTHS:
                    with self.subTest(name, width=width, manner=manner):
                        self.appear(width, manner)
                        self.browser.open(self.pages[name])
                        if manner == "large":
                            self.browser.command("Page.setFontSizes", fontSizes={"standard": 32, "fixed": 26})
                            self.assertEqual(self.browser.driver.execute_script("return getComputedStyle(document.documentElement).fontSize"), "32px")
                        # Before the picture, which may give letters their usual size again.
                        self.assertLessEqual(self.browser.overflow(), 0)
                        if (width, manner) in JUDGED:
                            self.assertEqual(self.browser.violations(), [])
                        self.assertEqual(self.browser.complaints(), [])
                        self.keep(f"{name}-{width}-{manner}", width, manner)

    def test_the_keyboard_reaches_what_folds_and_what_scrolls(self):
        for name in ("accepted", "refused"):
            self.appear(360, "light")
            self.browser.open(self.pages[name])
            wanted = self.browser.driver.execute_script("return document.querySelectorAll('summary, .scroll').length - document.querySelectorAll('details:not([open]) .scroll').length")
            reached = set()
            for _ in range(wanted):
                self.browser.command("Input.dispatchKeyEvent", type="keyDown", key="Tab", code="Tab", windowsVirtualKeyCode=9)
                self.browser.command("Input.dispatchKeyEvent", type="keyUp", key="Tab", code="Tab", windowsVirtualKeyCode=9)
                reached.add(self.browser.driver.execute_script(
                    "return [...document.querySelectorAll('summary, .scroll')].indexOf(document.activeElement)"))
            self.assertEqual((len(reached), -1 in reached), (wanted, False))


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    States.FOLDER = pathlib.Path(sys.argv.pop(1)).resolve()
    States.FOLDER.mkdir(parents=True, exist_ok=True)
    unittest.main()
