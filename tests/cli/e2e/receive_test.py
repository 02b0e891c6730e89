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

    def test_plan_of_a_revision(self):
        now = [f"--now={m}={self.desk.data(f'engine-a-{m}.bin')}" for m in ("flash", "eeprom")]
        plan = self.desk.json(CALSEAL, "plan", "--regions", MAPS / "engine.regions.json", *now,
                              "--after", "flash=" + self.desk.data("engine-r2-corrected-flash.bin"),
                              "--after", "eeprom=" + self.desk.data("engine-a-eeprom.bin"), status=0)
        self.assertLess(plan["calibration"]["seconds"], 60)
        self.assertTrue(600 <= plan["full_read"]["seconds"] <= 900)
        self.assertFalse(any(sector["mixed"] for sector in plan["sectors"]))


if __name__ == "__main__":
    unittest.main()
