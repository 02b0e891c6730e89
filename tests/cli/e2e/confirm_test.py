"""After the write, with the invented vehicles: what the controller holds against what was sealed."""

import unittest

import demo_desk
from desk import CALSEAL, edited

SECTOR = 0x2B0000  # of the engine's flash, from 0x802b0000 on: tables[1]


class Confirm(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = demo_desk.DemoDesk()
        cls.desk.seal_engine()
        cls.desk.seal_on("r0", "flash=" + cls.desk.data("engine-r2-flash.bin"), "r2", "--parent", cls.desk.at("r1.calseal"))
        cls.desk.seal_transmission()
        cls.base = cls.desk.bytes_of("engine-a-flash.bin")
        cls.one = cls.desk.bytes_of("engine-r1-corrected-flash.bin")
        cls.two = cls.desk.bytes_of("engine-r2-corrected-flash.bin")

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def confirm(self, bundle, *more, status=0):
        arguments = [CALSEAL, "confirm", *self.desk.evidence(bundle), *more]
        value = self.desk.json(*arguments, status=status)
        self.assertEqual(value["calseal"], "confirm/1")
        text = self.desk.must(*arguments, status=status).stdout.decode()
        self.assertTrue(text.startswith(value["verdict"].upper()), text)
        if value["reason"]:
            self.assertIn(value["reason"], text)
            self.assertIn(value["error"]["found"], text)
        return value

    def read(self, flash, eeprom="engine-a-eeprom.bin"):
        return self.desk.engine_read(self.desk.put("after.bin", flash), eeprom)

    def before(self, flash):
        return ["--before", "flash=" + self.desk.put("before.bin", flash), "--before", "eeprom=" + self.desk.data("engine-a-eeprom.bin")]

    def refused(self, bundle, *more, code):
        value = self.confirm(bundle, *more, status=1)
        self.assertEqual((value["verdict"], value["reason"], value["grade"]), ("refused", code, "none"), value["error"])
        return value

    def test_every_revision_is_confirmed_and_told_from_the_others(self):
        for bundle, flash in (("r0", self.base), ("r1", self.one), ("r2", self.two)):
            value = self.confirm(bundle, *self.read(flash))
            self.assertEqual((value["verdict"], value["grade"]), ("confirmed", "bytes"))
            self.assertEqual((value["read"]["vehicle_proof"], value["read"]["bytes_differing"]), ("proved", 0))
        for bundle, flash, code in (("r1", self.base, "confirm-old"), ("r2", self.base, "confirm-old"), ("r2", self.one, "confirm-differs"),
                                    ("r1", self.two, "confirm-differs"), ("r0", self.one, "confirm-differs")):
            value = self.refused(bundle, *self.read(flash), code=code)
            self.assertTrue(value["read"]["first_difference"]["region"])
        # With the read from before it is known that this is what was there.
        self.refused("r2", *self.read(self.one), *self.before(self.one), code="confirm-old")
        self.refused("r0", *self.read(self.one), *self.before(self.one), code="confirm-old")

    def test_learned_values_are_left_aside(self):
        later = self.desk.bytes_of("engine-a-later-flash.bin")
        flash = self.one[:0x3E0000] + later[0x3E0000:0x3F0000] + self.one[0x3F0000:]
        self.assertNotEqual(flash, self.one)
        value = self.confirm("r1", *self.read(flash, "engine-a-later-eeprom.bin"))
        self.assertEqual(value["grade"], "bytes")

    def test_a_write_that_stopped_at_a_sector(self):
        differing = [i for i in range(len(self.base)) if self.base[i] != self.two[i]]
        written = sum(1 for i in differing if i < SECTOR)
        self.assertTrue(0 < written < len(differing))
        flash = self.two[:SECTOR] + self.base[SECTOR:]
        for more in ([], self.before(self.base)):
            value = self.refused("r2", *self.read(flash), *more, code="confirm-partial")
            self.assertEqual((value["read"]["bytes_arrived"], value["read"]["bytes_changed"]), (written, len(differing)))
            self.assertIn("the write stopped there", value["error"]["found"])
            self.assertIn("in erase sector 0x802b0000-0x802bffff", value["error"]["found"])
        erased = self.two[:SECTOR] + b"\xff" * 0x10000 + self.base[SECTOR + 0x10000:]
        value = self.refused("r2", *self.read(erased), code="confirm-partial")
        self.assertIn("erased and empty", value["error"]["found"])

    def test_a_writer_that_corrects_once_more(self):
        flash = edited(self.one, 0x10180, bytes(b ^ 0xFF for b in self.one[0x10180:0x10184]))  # verification number
        value = self.refused("r1", *self.read(flash), code="confirm-recorrected")
        self.assertEqual(value["read"]["first_difference"]["start"], "0x80010180")
        self.assertIn("calibration-verification", value["error"]["found"])

    def test_a_stray_byte_is_named(self):
        value = self.refused("r1", *self.read(edited(self.one, 0x290123, bytes([self.one[0x290123] ^ 1]))), code="confirm-differs")
        first = value["read"]["first_difference"]
        self.assertEqual((first["memory"], first["start"], first["size"], first["region"], first["exact"]),
                         ("flash", "0x80290123", 1, "curves", True))
        flash = edited(self.one, 0xA1C46, bytes([self.one[0xA1C46] ^ 1]))  # code: only a digest is sealed
        self.assertIs(self.refused("r1", *self.read(flash), code="confirm-differs")["read"]["first_difference"]["exact"], False)
        first = self.refused("r1", *self.read(flash), *self.before(self.base), code="confirm-differs")["read"]["first_difference"]
        self.assertEqual((first["start"], first["exact"]), ("0x800a1c46", True))

    def test_another_vehicle_or_other_software(self):
        self.refused("r1", *self.desk.engine_read("engine-b-flash.bin", "engine-b-eeprom.bin"), code="vehicle-mismatch")
        self.refused("r1", *self.desk.engine_read("engine-a-updated-flash.bin"), code="read-foreign")
        self.refused("r1", "--read", "flash=" + self.desk.data("engine-a-flash.bin"), code="read-incomplete")

    def test_s_records(self):
        value = self.confirm("t1", "--read", self.desk.data("transmission-r1-corrected.s19"))
        self.assertEqual(value["grade"], "bytes")
        self.refused("t1", "--read", self.desk.data("transmission-a.s19"), code="confirm-old")

    def test_scan(self):
        number = lambda flash: flash[0x10180:0x10184].hex().upper()
        names = ["--scan", "software-number=EG47-SW-120345", "--scan", "vin=" + self.desk.bytes_of("engine-a-eeprom.bin")[0x40:0x51].decode()]
        value = self.confirm("r1", *names)
        self.assertEqual((value["verdict"], value["grade"]), ("confirmed", "identity"))
        self.assertIn("same-before-and-after", [c["code"] for c in value["cautions"]])
        value = self.confirm("r1", *names, "--scan", "calibration-verification-number=" + number(self.one))
        self.assertEqual(value["grade"], "verification-number")
        self.refused("r1", "--scan", "calibration-verification-number=" + number(self.base), code="scan-mismatch")
        self.refused("r1", "--scan", "calibration-verification-number=" + number(self.two), code="scan-mismatch")
        other = self.desk.bytes_of("engine-b-eeprom.bin")[0x40:0x51].decode()
        error = self.refused("r1", "--scan", "vin=" + other, code="scan-mismatch")["error"]
        self.assertNotIn(other, str(error))

    def test_nothing_to_compare_is_no_proof(self):
        value = self.confirm("r1", status=1)
        self.assertEqual((value["verdict"], value["reason"], value["grade"]), ("unproved", "", "none"))
        vin = self.desk.bytes_of("engine-a-eeprom.bin")[0x40:0x51].decode()
        value = self.desk.json(CALSEAL, "confirm", self.desk.at("r1.calseal"), "--trust", self.desk.at("shop.trust"), "--scan", "vin=" + vin,
                               status=1)
        self.assertEqual((value["verdict"], value["scan"][0]["state"]), ("unproved", "not-compared"))

    def test_wrong_usage(self):
        for more in (["--scan", "colour=blue"], ["--scan", "vin"], ["--scan", "vin=1", "--scan", "vin=1"], self.before(self.base)):
            value = self.desk.json(CALSEAL, "confirm", *self.desk.evidence("r1"), *more, status=2)
            self.assertEqual(value["reason"], "usage")

    def test_no_evidence_makes_a_bad_bundle_good(self):
        bundle = bytearray(self.desk.bytes_of("../r1.calseal"))
        bundle[200] ^= 1
        bad = self.desk.put("bent.calseal", bytes(bundle))
        arguments = [bad, "--trust", self.desk.at("shop.trust"), "--salt", self.desk.at("oak.salt"), *self.read(self.one)]
        self.assertEqual(self.desk.json(CALSEAL, "confirm", *arguments, status=1)["reason"], "prefix-damaged")


if __name__ == "__main__":
    unittest.main()
