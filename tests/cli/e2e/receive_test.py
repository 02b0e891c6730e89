"""receive and plan on the invented vehicles; reads swapped by tools of others."""

import pathlib
import shutil
import subprocess
import unittest

import demo_desk
from demo_desk import MAPS
from desk import CALSEAL


class Receive(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = demo_desk.DemoDesk()
        stock = pathlib.Path(cls.desk.at("stocks/first"))
        stock.mkdir(parents=True)
        shutil.copy(cls.desk.data("engine-a-flash.bin"), stock / "flash.bin")
        shutil.copy(cls.desk.data("engine-a-eeprom.bin"), stock / "eeprom.bin")

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def receive(self, flash, *more, status, regions=MAPS):
        return self.desk.json(CALSEAL, "receive", "flash=" + flash, "eeprom=" + self.desk.data("engine-a-eeprom.bin"),
                              "--regions", regions, *more, status=status)

    def test_the_folder_chooses_and_the_read_is_sound(self):
        verdict = self.receive(self.desk.data("engine-a-flash.bin"), "--known", self.desk.at("stocks"), status=0)
        read = verdict["reads"][0]
        self.assertEqual(read["region_map"]["name"], "eg47-120345")
        self.assertEqual((read["grade"], read["stock"], read["findings"]), ("matches-known-stock", "first", []))
        number = next(field for field in read["identity"] if field["kind"] == "verification-number")
        self.assertEqual(number["recomputed"], "holds")

    def test_a_changed_read_is_never_stock(self):
        read = self.receive(self.desk.data("engine-r1-corrected-flash.bin"), "--known", self.desk.at("stocks"), status=0)["reads"][0]
        self.assertEqual(read["grade"], "differs-from-known-stock")
        self.assertTrue(read["differences"])

    def test_swapped_by_objcopy_and_dd(self):
        source = self.desk.data("engine-a-flash.bin")
        for name, command in (
                ("swapped-16", ["dd", "if=" + source, "of=" + self.desk.at("s16.bin"), "conv=swab", "status=none"]),
                ("swapped-16", ["objcopy", "-I", "binary", "-O", "binary", "--reverse-bytes=2", source, self.desk.at("s16.bin")]),
                ("swapped-32", ["objcopy", "-I", "binary", "-O", "binary", "--reverse-bytes=4", source, self.desk.at("s32.bin")])):
            with self.subTest(command[0] + " " + name):
                subprocess.run(command, check=True)
                swapped = self.desk.at("s16.bin" if name == "swapped-16" else "s32.bin")
                verdict = self.receive(swapped, status=1, regions=MAPS / "engine.regions.json")
                self.assertEqual(verdict["reads"][0]["findings"][0]["kind"], name)

    def test_three_reads_vote(self):
        good = self.desk.bytes_of("engine-a-flash.bin")
        arguments = []
        for i in range(3):
            bad = bytearray(good)
            bad[0x50000 + i] ^= 1 << i
            path = pathlib.Path(self.desk.at(f"read-{i}.bin"))
            path.write_bytes(bad)
            if i:
                arguments += ["--again", f"flash={path}", "--again", "eeprom=" + self.desk.data("engine-a-eeprom.bin")]
        outputs = ["-o", self.desk.at("voted-flash.bin"), "-o", self.desk.at("voted-eeprom.bin")]
        verdict = self.receive(self.desk.at("read-0.bin"), *arguments, *outputs, status=1)
        self.assertEqual((verdict["vote"]["by_majority"], verdict["vote"]["undecided"]), (3, 0))
        self.assertEqual(pathlib.Path(self.desk.at("voted-flash.bin")).read_bytes(), good)

    def test_a_vote_that_decides_nothing_is_reported_and_writes_nothing(self):
        good = self.desk.bytes_of("engine-a-flash.bin")
        arguments = []
        for i in range(3):
            bad = bytearray(good)
            bad[0x50000] = i  # three reads, three values
            path = pathlib.Path(self.desk.at(f"apart-{i}.bin"))
            path.write_bytes(bad)
            if i:
                arguments += ["--again", f"flash={path}", "--again", "eeprom=" + self.desk.data("engine-a-eeprom.bin")]
        outputs = ["-o", self.desk.at("apart-flash.bin"), "-o", self.desk.at("apart-eeprom.bin")]
        told = self.receive(self.desk.at("apart-0.bin"), *arguments, *outputs, status=1)
        self.assertEqual((told["vote"]["undecided"], told["not_written"]["reason"], told["sound"]), (1, "checksum-fails", False))
        self.assertFalse(pathlib.Path(self.desk.at("apart-flash.bin")).exists())
        self.assertEqual(self.receive(self.desk.at("apart-0.bin"), *arguments, status=1)["not_written"], {})

    def test_a_read_that_was_cut_off_is_judged_and_has_no_vote(self):
        good = self.desk.data("engine-a-flash.bin")
        short = pathlib.Path(self.desk.at("short.bin"))
        short.write_bytes(self.desk.bytes_of("engine-a-flash.bin")[:4000000])
        eeprom = ["--again", "eeprom=" + self.desk.data("engine-a-eeprom.bin")]
        two = self.receive(good, "--again", f"flash={short}", *eeprom, status=1)
        self.assertEqual((two["vote"], [read["sound"] for read in two["reads"]]), ({}, [True, False]))
        self.assertEqual(two["reads"][1]["findings"][0]["kind"], "truncated")
        three = self.receive(good, "--again", f"flash={short}", *eeprom, "--again", "flash=" + good, *eeprom, status=1)["vote"]
        self.assertEqual((three["compared"], three["only_volatile"]), ([True, False, True], True))

    def test_one_wrong_byte_is_named_with_its_address(self):
        bad = bytearray(self.desk.bytes_of("engine-a-flash.bin"))
        bad[0x2a0123] ^= 0x08
        path = pathlib.Path(self.desk.at("bit.bin"))
        path.write_bytes(bad)
        findings = self.receive(str(path), status=1)["reads"][0]["findings"]
        self.assertEqual([(one["kind"], one["place"]) for one in findings], [("one-byte", "flash 0x802a0123")])

    def test_the_map_of_a_dealers_update(self):
        """It moved nothing: most places are sure, every other is named, and the map holds."""
        files = lambda name: ["flash=" + self.desk.data(name), "eeprom=" + self.desk.data("engine-a-eeprom.bin")]
        base = [word for one in files("engine-a-flash.bin") for word in ("--base", one)]
        carried = self.desk.json(CALSEAL, "regions", "carry", MAPS / "engine.regions.json", *files("engine-a-updated-flash.bin"), *base,
                                 "--name", "eg47-updated", "-o", self.desk.at("updated.json"), status=1)
        self.assertFalse(any(place["moved"] for place in carried["places"]))
        self.assertEqual({check["state"] for check in carried["checks"]}, {"holds"})
        sure = [place for place in carried["places"] if place["sure"]]
        self.assertGreaterEqual(len(sure) * 10, len(carried["places"]) * 8)
        for place in carried["places"]:
            named = any(line.startswith(place["what"] + ":") for line in carried["look"])
            self.assertEqual(named, not place["sure"], place["what"])
        images = [word for one in files("engine-a-updated-flash.bin") for word in ("--image", one)]
        self.desk.json(CALSEAL, "regions", "lint", self.desk.at("updated.json"), *images, status=0)

    def test_plan_of_a_revision(self):
        now = [f"--now={m}={self.desk.data(f'engine-a-{m}.bin')}" for m in ("flash", "eeprom")]
        plan = self.desk.json(CALSEAL, "plan", "--regions", MAPS / "engine.regions.json", *now,
                              "--after", "flash=" + self.desk.data("engine-r2-corrected-flash.bin"),
                              "--after", "eeprom=" + self.desk.data("engine-a-eeprom.bin"), status=0)
        self.assertLess(plan["calibration"]["seconds"], 60)
        self.assertTrue(600 <= plan["full_read"]["seconds"] <= 900)
        self.assertFalse(any(sector["mixed"] for sector in plan["sectors"]))
        self.assertEqual({plan[cost]["rate_from"] for cost in ("calibration", "full_write", "full_read")}, {"usual"})

    def plan_of_the_transmission(self, *more):
        return self.desk.json(CALSEAL, "plan", "--regions", MAPS / "transmission.regions.json", "--now", self.desk.data("transmission-a.s19"),
                              "--after", self.desk.data("transmission-r1-corrected.s19"), *more)

    def test_plan_on_the_slower_link_that_the_map_declares(self):
        plan = self.plan_of_the_transmission()
        self.assertLess(plan["calibration"]["seconds"], 60)
        self.assertTrue(600 <= plan["full_read"]["seconds"] <= 900)
        self.assertEqual((plan["full_read"]["rate"], plan["full_read"]["rate_from"]), (2000, "region map"))
        given = self.plan_of_the_transmission("--rate", "10000")
        self.assertEqual((given["calibration"]["rate"], given["calibration"]["rate_from"]), (10000, "given"))
        self.assertEqual(given["full_read"]["rate"], 2000)

    def test_no_line_of_progress_where_nobody_looks(self):
        done = self.desk.run(CALSEAL, "receive", "flash=" + self.desk.data("engine-a-flash.bin"), "eeprom=" + self.desk.data("engine-a-eeprom.bin"),
                             "--regions", MAPS)
        self.assertEqual((done.returncode, done.stderr), (0, b""))

    def test_wrong_arguments_and_damaged_files(self):
        flash, eeprom = "flash=" + self.desk.data("engine-a-flash.bin"), "eeprom=" + self.desk.data("engine-a-eeprom.bin")
        empty = pathlib.Path(self.desk.at("empty.bin"))
        empty.write_bytes(b"")
        for arguments, status, reason in (
                ([flash, eeprom, "--again", flash, "--regions", MAPS], 2, "usage"),
                ([flash, eeprom, "--regions", self.desk.at("nowhere")], 3, "file-missing"),
                ([flash, eeprom, "--regions", MAPS, "--known", self.desk.at("nowhere")], 3, "file-missing"),
                (["flash=" + str(empty), eeprom, "--regions", MAPS / "engine.regions.json"], 1, "file-empty"),
                (["brain=" + self.desk.data("engine-a-flash.bin"), "--regions", MAPS / "engine.regions.json"], 1, "memory-unknown"),
                ([flash, flash, "--regions", MAPS / "engine.regions.json"], 1, "record-overlap"),
                ([flash, eeprom, "--regions", MAPS, "-o", self.desk.data("engine-a-flash.bin")], 2, "output-is-input")):
            with self.subTest(reason):
                self.assertEqual(self.desk.json(CALSEAL, "receive", *arguments, status=status)["reason"], reason)

    def test_history_of_the_demos_maps(self):
        history = self.desk.json(CALSEAL, "regions", "history", MAPS)
        self.assertEqual([one["conflicts"] for one in history["maps"]], [[]] * len(history["maps"]))
        self.assertGreaterEqual(len(history["maps"]), 2)


if __name__ == "__main__":
    unittest.main()
