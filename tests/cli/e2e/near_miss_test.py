"""Reads that do not fit, of the invented vehicles: refused with the stable reason, and told what they most likely are."""

import unittest

import demo_desk
from desk import CALSEAL_CHECK, edited


class NearMiss(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = demo_desk.DemoDesk()
        cls.desk.seal_engine()
        cls.desk.seal_transmission()

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def refused(self, bundle, *read, code, found="", expected="", following=""):
        verdict = self.desk.json(CALSEAL_CHECK, *self.desk.evidence(bundle), *read, status=1)
        self.assertEqual(verdict["reason"], code, verdict)
        error = verdict["error"]
        for said, wanted in ((error["found"], found), (error["expected"], expected), (error["next"], following)):
            self.assertIn(wanted, said)
        return error

    def test_a_dealer_has_updated_the_controller(self):
        for bundle in ("r0", "r1"):
            self.refused(bundle, *self.desk.engine_read("engine-a-updated-flash.bin"), code="read-foreign",
                         found="software-number is EG47-SW-120391, not EG47-SW-120345", expected="base 1 of job oak-17",
                         following="the same family, other software")

    def test_locked_bytes_that_somebody_else_changed(self):
        error = self.refused("r0", *self.desk.engine_read("engine-bad-locked-flash.bin"), code="read-foreign",
                             found="software-number EG47-SW-120345", following="somebody else has changed locked bytes")
        self.assertIn("1 byte differs in locked places, the first at flash 0x800a1c46, in region code", error["found"])
        self.assertIn("flash 0x800a1c46 in region code", error["place"])
        self.refused("r1", *self.desk.engine_read("engine-bad-signed-flash.bin"), code="read-foreign",
                     found="the part boot-signature under the manufacturer's signature")

    def test_engine_and_transmission_swapped(self):
        error = self.refused("t1", "--read", self.desk.data("engine-a-flash.bin"), code="image-size", found="4,194,304 bytes",
                             expected="for controller transmission (region map")
        self.assertIn("of another controller", error["next"])
        self.refused("r1", "--read", self.desk.data("transmission-a.s19"), code="image-outside",
                     expected="for controller engine (region map", following="of another controller")

    def test_the_files_of_two_memories_swapped(self):
        self.refused("r1", *self.desk.engine_read("engine-a-eeprom.bin", "engine-a-flash.bin"), code="image-size",
                     found="as many as memory eeprom has", following="eeprom=FILE")

    def test_a_read_of_the_calibration_alone(self):
        flash = self.desk.bytes_of("engine-a-flash.bin")
        part = self.desk.put("calibration.bin", flash[0x280000:0x2F0000])  # whole erase sectors
        self.refused("r1", *self.desk.engine_read(part), code="image-size", found="as many as the calibration alone",
                     following="read memory flash whole")
        part = self.desk.put("cut.bin", flash[:-1])
        self.refused("r1", *self.desk.engine_read(part), code="image-size", found="only a part of the memory")

    def test_a_memory_is_missing(self):
        self.refused("r1", "--read", "flash=" + self.desk.data("engine-a-flash.bin"), code="read-incomplete",
                     found="nothing of memory eeprom", following="eeprom=FILE")

    def test_erased_flash(self):
        blank = self.desk.put("blank.bin", b"\xff" * 0x400000)
        self.refused("r1", *self.desk.engine_read(blank), code="read-foreign", found="erased bytes", following="did not read these places")

    def test_another_vehicle(self):
        error = self.refused("r1", *self.desk.engine_read("engine-b-flash.bin", "engine-b-eeprom.bin"), code="vehicle-mismatch",
                             found="another vin (eeprom), immobiliser-serial (eeprom)", following="comes from another vehicle")
        vins = [self.desk.bytes_of(f"engine-{v}-eeprom.bin")[0x40:0x51].decode() for v in "ab"]
        for vin in vins:
            self.assertNotIn(vin, str(error))

    def test_a_part_of_the_controller_was_exchanged(self):
        eeprom = edited(self.desk.bytes_of("engine-a-eeprom.bin"), 0x58, b"\x01\x02\x03\x04\x05\x06\x07\x08")
        self.refused("r1", *self.desk.engine_read(eeprom=self.desk.put("other-serial.bin", eeprom)), code="vehicle-mismatch",
                     found="another immobiliser-serial (eeprom); the same vin (eeprom)")


if __name__ == "__main__":
    unittest.main()
