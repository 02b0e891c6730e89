#!/usr/bin/env python3
"""Pages about what nobody has sealed yet, as people open them: an edit before its seal and a read that came in. Chromium opens them
from disk, narrow and wide, light and dark, and prints them; axe-core judges each.

CALSEAL_PICTURES=FOLDER keeps pictures and prints. CALSEAL_LOOKS=all looks at every page everywhere; without it one page of each kind is
looked at so, and the others are opened once at either width.
"""

import json
import os
import pathlib
import random
import re
import sys
import unittest
import zlib

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / "cli/e2e")]

import report_test
from desk import CALSEAL
from demo_desk import MAPS, DemoDesk
from report_test import HOSTILE, Chromium

ENGINE = MAPS / "engine.regions.json"


class Drafts(unittest.TestCase):
    report = report_test.Reports.report

    def look(self, path, closely=False):
        if closely or os.environ.get("CALSEAL_LOOKS") == "all":
            return report_test.Reports.look(self, path)
        for width, browser in self.browsers.items():
            browser.open(path)
            with self.subTest(path.name, width=width):
                self.assertEqual((browser.overflow(), browser.complaints()), (0, []))
        return self.browsers[1280]

    @classmethod
    def setUpClass(cls):
        cls.desk = DemoDesk()
        cls.browsers = {width: Chromium(width) for width in (360, 1280)}

    @classmethod
    def tearDownClass(cls):
        for browser in cls.browsers.values():
            browser.__exit__()
        cls.desk.close()

    def before(self):
        return ["--regions", ENGINE, "--before", "flash=" + self.desk.data("engine-a-flash.bin"), "--before",
                "eeprom=" + self.desk.data("engine-a-eeprom.bin")]

    def pins(self, browser, kind):
        return [pin for pin in browser.find_all("svg.strip .pin") if (kind in pin.get_attribute("class").split()) == (kind != "")]

    def test_an_edit_that_a_seal_takes(self):
        page = self.report("draft", *self.before(), "--after", "flash=" + self.desk.data("engine-r2-flash.bin"))
        made = self.made["report"]
        before, after = self.desk.bytes_of("engine-a-flash.bin"), self.desk.bytes_of("engine-r2-corrected-flash.bin")
        # The page is about the image as a seal would correct it: the very bytes that the demo's own code corrects.
        self.assertEqual(made["changed_bytes"], sum(a != b for a, b in zip(before, after)))
        self.assertEqual((made["kind"], made["confined"], made["refused_bytes"], made["violations"]), ("comparison", True, 0, 0))
        browser = self.look(page)
        text = browser.text()
        for words in ("DRAFT – NOT SEALED, NOTHING PROVED", "Sealing computes all of it again"):
            self.assertIn(words, text)
        self.assertNotIn("What a seal refuses", text)
        self.assertEqual(self.pins(browser, "refused"), [])
        self.assertGreater(len(browser.find_all("svg.curve polyline.before")), 5)
        self.assertGreater(len(browser.find_all("svg.cells")), 3)
        self.assertLess(page.stat().st_size, 1 << 20)
        self.assertEqual(self.report("draft-again", *self.before(), "--after", "flash=" + self.desk.data("engine-r2-flash.bin")).read_bytes(),
                         page.read_bytes())

    def test_an_edit_that_a_seal_refuses(self):
        data = bytearray(self.desk.bytes_of("engine-r2-flash.bin"))
        data[0x100000:0x100010] = bytes(b ^ 0xFF for b in data[0x100000:0x100010])
        edited = self.desk.put("stray.bin", bytes(data))
        page = self.report("stray", *self.before(), "--after", "flash=" + edited, status=1)
        self.assertEqual((self.made["report"]["refused_bytes"], self.made["report"]["confined"]), (16, False))
        browser = self.look(page, closely=True)
        for words in ("DRAFT – NOT SEALED, NOTHING PROVED", "change-locked", "0x80100000", "undo the change"):
            self.assertIn(words, browser.text())
        crosses = self.pins(browser, "refused")
        self.assertGreater(len(crosses), 0)
        # The cross stands where the bytes are: a quarter of the way along 4 MiB.
        strip, cross = browser.find("svg.strip").rect, browser.find("svg.strip .pin.refused").rect
        self.assertAlmostEqual((cross["x"] + cross["width"] / 2 - strip["x"]) / strip["width"], 0.25, delta=0.01)

    def test_against_the_base_of_a_job(self):
        self.desk.seal_engine()
        edited = "flash=" + self.desk.data("engine-r2-flash.bin")
        self.report("of-bundle", self.desk.at("r0.calseal"), "--after", edited)
        of_bundle = self.made["report"]
        self.report("of-files", *self.before(), "--after", edited)
        self.assertEqual(of_bundle, self.made["report"])
        read = ["flash=" + self.desk.data("engine-a-flash.bin"), "eeprom=" + self.desk.data("engine-a-eeprom.bin")]
        folder = self.desk.at("elm-3")
        self.desk.must(CALSEAL, "job", "new", *read, "--regions", ENGINE, "--vehicle", "blue estate", *self.desk.signing(), "-o", folder)
        for subject in (folder, folder + "/engine"):
            page = self.report("of-job", subject, "--after", edited)
            self.assertEqual(of_bundle, self.made["report"])
            self.assertIn("Job elm-3", re.sub("<[^>]*>", "", page.read_text()))
        said = self.desk.json(CALSEAL, "report", self.desk.at("r1.calseal"), "--after", edited, "-o", self.desk.at("no.html"), status=2)
        self.assertEqual(said["reason"], "usage")
        self.assertFalse(pathlib.Path(self.desk.at("no.html")).exists())

    def test_unrelated_images_stay_small(self):
        """Two images of 4 MiB that differ nearly everywhere, and once everywhere by turns."""
        noise = random.Random(5).randbytes(4 << 20)
        turns = bytes(b ^ (i & 1) for i, b in enumerate(self.desk.bytes_of("engine-a-flash.bin")))
        for name, data in (("noise", noise), ("turns", turns)):
            page = self.report(name, *self.before(), "--after", "flash=" + self.desk.put(name + ".bin", data), status=1)
            self.assertLess(page.stat().st_size, 1 << 20)
            self.assertEqual("Neighbours are drawn as one" in page.read_text(), name == "turns")
            # Correction moves some bytes of checksums and copies, and no others.
            differing = sum(a != b for a, b in zip(self.desk.bytes_of("engine-a-flash.bin"), data))
            self.assertLessEqual(abs(self.made["report"]["changed_bytes"] - differing), self.made["report"]["corrected_bytes"])

    def test_hostile_names(self):
        regions = json.loads(ENGINE.read_text())
        for item in regions["items"]:
            item["title"] = HOSTILE
        regions["regions"][0]["note"] = HOSTILE
        regions["title"] = HOSTILE
        hostile = self.desk.put("hostile.json", json.dumps(regions).encode())
        self.desk.put("<img src=x>.bin", self.desk.bytes_of("engine-r2-flash.bin"))
        arguments = self.before()
        arguments[1] = hostile
        page = self.report("hostile", *arguments, "--after", "flash=" + self.desk.at("<img src=x>.bin"))
        self.assertNotIn("<img", page.read_text())
        browser = self.look(page)
        self.assertIn(HOSTILE, browser.text())
        self.assertIn("<img src=x>.bin", browser.text())
        page = self.report("hostile-read", "flash=" + self.desk.at("<img src=x>.bin"), "eeprom=" + self.desk.data("engine-a-eeprom.bin"),
                           "--regions", hostile, status=1)
        self.assertNotIn("<img", page.read_text())

    def read(self, name, flash, *more, status=0):
        return self.report(name, "flash=" + flash, "eeprom=" + self.desk.data("engine-a-eeprom.bin"), "--regions", ENGINE, *more, status=status)

    def test_a_sound_read(self):
        page = self.read("read", self.desk.data("engine-a-flash.bin"))
        self.assertEqual(self.made["report"], {"kind": "read", "recognised": True, "sound": True, "grade": "not-comparable", "findings": 0,
                                               "failing": 0})
        browser = self.look(page)
        self.assertIn("NOTHING WRONG SEEN", browser.text())
        self.assertEqual(len(browser.find_all("svg.blocks")), 2)
        self.assertLess(page.stat().st_size, 200_000)

    def test_a_damaged_read_shows_where(self):
        data = bytearray(self.desk.bytes_of("engine-a-flash.bin"))
        data[0x280000:0x284000] = b"\xff" * 0x4000
        damaged = self.desk.put("damaged.bin", bytes(data))
        told = self.desk.json(CALSEAL, "receive", "flash=" + damaged, "eeprom=" + self.desk.data("engine-a-eeprom.bin"), "--regions", ENGINE,
                              status=1)["reads"][0]
        page = self.read("damaged", damaged, status=1)
        self.assertEqual((self.made["report"]["findings"], self.made["report"]["grade"]), (len(told["findings"]), told["grade"]))
        browser = self.look(page, closely=True)
        for finding in told["findings"]:
            for words in (finding["kind"], finding["place"], finding["found"], finding["meaning"], finding["next"]):
                self.assertIn(words, browser.text())
        strip = browser.find("svg.strip").rect
        bars = browser.find_all("svg.strip .item.changed")
        self.assertGreater(len(bars), 0)
        for bar in bars:
            self.assertAlmostEqual((bar.rect["x"] - strip["x"]) / strip["width"], 0x280000 / (4 << 20), delta=0.01)

    def test_a_read_against_a_stock(self):
        (self.desk.inputs / "stocks/one").mkdir(parents=True)
        for memory in ("flash", "eeprom"):
            (self.desk.inputs / f"stocks/one/{memory}.bin").write_bytes(self.desk.bytes_of(f"engine-a-{memory}.bin"))
        stocks = self.desk.at("stocks")
        self.read("stock", self.desk.data("engine-a-flash.bin"), "--known", stocks)
        self.assertEqual(self.made["report"]["grade"], "matches-known-stock")
        page = self.read("not-stock", self.desk.data("engine-r2-corrected-flash.bin"), "--known", stocks)
        self.assertEqual(self.made["report"]["grade"], "differs-from-known-stock")
        browser = self.look(page)
        self.assertIn("DIFFERS FROM KNOWN STOCK", browser.text())
        self.assertGreater(len(self.pins(browser, "")), 3)

    def test_a_region_map_on_a_read(self):
        read = self.desk.engine_read()
        page = self.report("map", ENGINE, *read)
        plan = self.desk.json(CALSEAL, "regions", "show", ENGINE, "--image", read[1], "--image", read[3])
        declared = json.loads(ENGINE.read_text())
        made = self.made["report"]
        self.assertEqual((made["kind"], made["failing"], made["checks"]), ("region-map", 0, len(plan["checksums"]) + len(plan["copies"])))
        browser = self.look(page, closely=True)
        self.assertIn("HOLDS ON THIS READ", browser.text())
        names = [row.text.split(" ")[0].strip() for row in browser.find_all("ol.graph h3 bdi")]
        self.assertEqual(len(names), made["checks"])
        # Nobody stands above what he waits for, and every wait that is drawn is told in words.
        rows = browser.find_all("ol.graph > li")
        tips = sum(len(row.find_elements("css selector", ".tip")) for row in rows)
        self.assertGreater(tips, 3)
        for i, row in enumerate(rows):
            for line in row.text.splitlines():
                if line.startswith("after "):
                    for name in re.split(", | and ", line[len("after "):]):
                        if not re.fullmatch(r"\d+ more", name):
                            self.assertIn(name, names[:i])
        for region in declared["regions"]:
            if "repeat" not in region:
                self.assertIn(region["name"], browser.text())

    def test_a_region_map_that_does_not_hold(self):
        data = bytearray(self.desk.bytes_of("engine-a-flash.bin"))
        data[0x100000] ^= 1
        page = self.report("map-wrong", ENGINE, "--read", "flash=" + self.desk.put("bent.bin", bytes(data)), "--read",
                           "eeprom=" + self.desk.data("engine-a-eeprom.bin"), status=1)
        self.assertGreater(self.made["report"]["failing"], 0)
        self.assertIn("DOES NOT HOLD", page.read_text())
        page = self.report("map-alone", ENGINE)
        self.assertNotIn("failing", self.made["report"])
        self.assertIn("DECLARED", self.look(page).text())

    def test_a_drafted_map_tells_its_odds(self):
        data = random.Random(11).randbytes(8192)
        data = data[:4096] + zlib.crc32(data[:4096]).to_bytes(4, "little") + data[4100:]
        image, drafted = self.desk.put("unknown.bin", data), self.desk.at("drafted.json")
        self.desk.json(CALSEAL, "regions", "draft", image, "-o", drafted)
        checksums = json.loads(pathlib.Path(drafted).read_text())["checksums"]
        self.assertEqual(len(checksums), 1)
        note = checksums[0]["note"]
        page = self.report("drafted", drafted, "--read", image)
        browser = self.look(page)
        self.assertIn("by chance", note)
        self.assertIn(note, browser.text())
        self.assertIn("A guess: everything: this map was drafted from bytes", browser.text())
        # The second half of the image is read by nothing, and the bar says so to scale.
        strip, bar = browser.find("svg.strip").rect, browser.find("svg.strip rect.item").rect
        self.assertAlmostEqual((bar["x"] - strip["x"]) / strip["width"], 4100 / 8192, delta=0.01)
        self.assertAlmostEqual(bar["width"] / strip["width"], 4092 / 8192, delta=0.01)

    def test_a_write_plan(self):
        now = ["flash=" + self.desk.data("engine-a-later-flash.bin"), "eeprom=" + self.desk.data("engine-a-eeprom.bin")]
        after = ["flash=" + self.desk.data("engine-r2-corrected-flash.bin"), "eeprom=" + self.desk.data("engine-a-eeprom.bin")]
        files = [word for option, names in (("--now", now), ("--after", after)) for name in names for word in (option, name)]
        told = self.desk.json(CALSEAL, "plan", "--regions", ENGINE, *files)
        page = self.report("plan", "--regions", ENGINE, *files)
        mixed = [sector for sector in told["sectors"] if sector["mixed"]]
        self.assertEqual(self.made["report"], {"kind": "plan", "changed_bytes": told["changed_bytes"], "sectors": len(told["sectors"]),
                                               "mixed": len(mixed), "without_sector": len(told["without_sector"]),
                                               "seconds": told["calibration"]["seconds"]})
        browser = self.look(page, closely=True)
        strip, bars = browser.find("svg.strip").rect, browser.find_all("svg.strip .item")
        flash = [sector["place"] for sector in told["sectors"] if sector["place"]["memory"] == "flash"]
        self.assertEqual(len(bars), len(flash))
        for bar, place in zip(bars, flash):
            middle = (int(place["start"], 16) - 0x80000000 + place["size"] / 2) / (4 << 20)
            self.assertAlmostEqual((bar.rect["x"] + bar.rect["width"] / 2 - strip["x"]) / strip["width"], middle, delta=0.01)

    def test_two_region_maps(self):
        regions = json.loads(ENGINE.read_text())
        regions["version"] += 1
        regions["checksums"] = [check for check in regions["checksums"] if check["name"] != "scalars-sum"]
        regions["regions"].append({"name": "extra", "memory": "flash", "start": "0x80300000", "size": 65536, "policy": "editable"})
        newer = self.desk.put("newer.json", json.dumps(regions).encode())
        told = self.desk.json(CALSEAL, "regions", "diff", ENGINE, newer, status=1)
        page = self.report("maps", newer, "--since", ENGINE, status=1)
        self.assertEqual(self.made["report"], {"kind": "region-maps", "widens": True, "policies": len(told["policies"]),
                                               "declarations": len(told["declarations"])})
        browser = self.look(page, closely=True)
        for words in ("WIDENS", "scalars-sum", "removed", "0x80300000-0x8030ffff", "extra"):
            self.assertIn(words, browser.text())
        strip, bars = browser.find("svg.strip").rect, browser.find_all("svg.strip rect.item.changed")
        self.assertTrue(any(abs((bar.rect["x"] - strip["x"]) / strip["width"] - 0.75) < 0.01 for bar in bars))
        self.report("maps-same", ENGINE, "--since", ENGINE)
        self.assertIn("WIDENS NOTHING", pathlib.Path(self.desk.at("maps-same.html")).read_text())

    def test_a_map_of_many_checks_stays_small(self):
        """Every region with a checksum of its own, each of them under the next."""
        count = 600
        regions = {"calseal": "region-map/1", "name": "many", "controller": "engine", "version": 1,
                   "memories": [{"name": "flash", "origin": "0x00000000", "size": 16 << 20}],
                   "recognise": {"all": [{"memory": "flash", "at": "0x00fffff0", "bytes": "44554f00"}]},
                   "regions": [{"name": f"r{i}", "memory": "flash", "start": f"0x{i * 16384:08x}", "size": 16000, "policy": "editable"}
                               for i in range(count)],
                   "checksums": [{"name": f"c{i}", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
                                  "coverage": [{"memory": "flash", "start": f"0x{max(0, i - 1) * 16384:08x}", "size": 16000 + (16384 if i else 0)}],
                                  "slots": [{"memory": "flash", "at": f"0x{i * 16384 + 16200:08x}", "size": 4}]} for i in range(count)],
                   "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"}}
        page = self.report("many", self.desk.put("many.json", json.dumps(regions).encode()))
        self.assertEqual(self.made["report"]["checks"], count)
        self.assertLess(page.stat().st_size, 1 << 20)
        self.assertEqual(len(self.look(page).find_all("ol.graph > li")), 80)

    def test_a_hostile_region_map(self):
        regions = json.loads(ENGINE.read_text())
        regions["title"] = regions["note"] = HOSTILE
        regions["evidence"]["guesses"].append(HOSTILE)
        page = self.report("hostile-map", self.desk.put("hostile-map.json", json.dumps(regions).encode()), "--since", ENGINE)
        self.assertNotIn("<img", page.read_text())
        page = self.report("hostile-map-alone", self.desk.at("hostile-map.json"))
        self.assertNotIn("<img", page.read_text())
        self.assertIn(HOSTILE, self.look(page).text())

    def test_a_read_that_no_map_knows(self):
        done = self.desk.json(CALSEAL, "report", self.desk.data("transmission-a.s19"), "--regions", ENGINE, "-o", self.desk.at("none.html"),
                              status=1)
        self.assertIn("reason", done)
        self.assertFalse(pathlib.Path(self.desk.at("none.html")).exists())


if __name__ == "__main__":
    unittest.main()
