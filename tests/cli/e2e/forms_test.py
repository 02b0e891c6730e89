"""A customer whose tool wraps its reads: refused when damaged or unreadable, and given back in its own form, checksums right; and one
who can read his calibration alone."""

import json
import random
import unittest
import zlib

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK, corrected, edited

FLASH_FORM = {
    "name": "boxed",
    "blocks": [
        {"constant": "424f5821"}, {"opaque": 4},
        {"memory": "eeprom", "start": "0x00000000", "size": 64},
        {"memory": "flash", "start": "0x80000080", "size": 128},
        {"memory": "flash", "start": "0x80000000", "size": 128},
        {"opaque": 6}, {"constant": "656e64"}, {"opaque": 4},
    ],
    "checksums": [{
        "name": "trailer", "algorithm": {"crc": "CRC-32/ISO-HDLC"},
        "coverage": [{"memory": "file", "start": "0x00000000", "size": 337}],
        "slots": [{"memory": "file", "at": "0x00000151", "size": 4, "order": "big"}],
    }],
}
CALIBRATION_FORM = {"name": "calibration", "blocks": [{"memory": "flash", "start": "0x80000000", "size": 128}]}


def boxed(flash, eeprom):
    body = b"BOX!" + b"\x00\x01\x02\x03" + eeprom + flash[128:] + flash[:128] + b"date--" + b"end"
    return body + zlib.crc32(body).to_bytes(4, "big")


class Forms(unittest.TestCase):
    def setUp(self):
        self.desk = desks.Desk()
        self.desk.open_shop()
        self.desk.quicken("author.key")
        regions = json.loads(json.dumps(desks.REGIONS))
        regions["forms"] = [FLASH_FORM, CALIBRATION_FORM,
                            {"name": "locked", "signature": "4c4b4431", "note": "save it without the lock"}]
        self.desk.put("duo.json", json.dumps(regions).encode())

    def tearDown(self):
        self.desk.close()

    def seal_base(self, base, *more, status=0):
        return self.desk.json(CALSEAL, "seal", "--job", "oak-17", "--regions", self.desk.at("duo.json"), "--base", base, "--vehicle",
                              "blue estate", *more, *self.desk.signing(), "-o", self.desk.at("r0.calseal"),
                              status=status)

    def seal_revision(self, image, *more):
        return self.desk.json(CALSEAL, "seal", "--base-bundle", self.desk.at("r0.calseal"), "--image", image, "--correct", *more,
                              *self.desk.signing(), "-o", self.desk.at("r1.calseal"))

    def check(self, read, *more, status=0):
        self.desk.clear_out()
        return self.desk.json(CALSEAL_CHECK, self.desk.at("r1.calseal"), "--trust", self.desk.at("shop.trust"), "--read-is-fresh", "--read",
                              read, "--image", str(self.desk.out / "new"), *more, status=status)

    def test_a_wrapped_read_comes_back_wrapped(self):
        read = self.desk.put("read.box", boxed(self.desk.flash, self.desk.eeprom))
        self.seal_base(read, "--new-salt", self.desk.at("new.salt"))
        flash = edited(self.desk.flash, 0x24, b"\x07\x08")
        self.seal_revision(self.desk.put("edit.box", boxed(flash, self.desk.eeprom)), "--salt", self.desk.at("new.salt"))
        self.check(read, "--salt", self.desk.at("new.salt"))
        self.assertEqual((self.desk.out / "new").read_bytes(), boxed(corrected(flash), self.desk.eeprom))

    def revive(self, *more):
        self.desk.clear_out()
        return self.desk.json(CALSEAL_CHECK, self.desk.at("r0.calseal"), "--trust", self.desk.at("shop.trust"), "--revive", "--vehicle", "blue estate",
                              "--salt", self.desk.at("new.salt"), *more)

    def test_the_way_back_without_a_read_comes_in_the_customers_form(self):
        box = boxed(self.desk.flash, self.desk.eeprom)
        self.seal_base(self.desk.put("read.box", box), "--new-salt", self.desk.at("new.salt"))
        self.assertEqual(self.revive("--image", str(self.desk.out / "back"))["vehicle_proof"], "asserted")
        self.assertEqual((self.desk.out / "back").read_bytes(), box)
        # What the wrapping holds beside the image stands in the manifest, and nowhere else.
        manifest = self.desk.json(CALSEAL, "show", self.desk.at("r0.calseal"))["manifest"]
        trailer = box[-4:]
        self.assertEqual(manifest["annotations"], [["wrapping", "boxed " + (b"\x00\x01\x02\x03" + b"date--" + trailer).hex()]])

    def test_a_calibration_comes_back_as_it_came(self):
        calibration = self.desk.flash[:128]
        self.seal_base(self.desk.put("cal.bin", calibration), "--new-salt", self.desk.at("new.salt"))
        self.revive("--image", str(self.desk.out / "back"))
        self.assertEqual((self.desk.out / "back").read_bytes(), calibration)

    def test_a_damaged_wrapping_is_refused_with_its_place(self):
        good = boxed(self.desk.flash, self.desk.eeprom)
        error = self.seal_base(self.desk.put("read.box", edited(good, 100, b"\x00\x01")), status=1)
        self.assertEqual(error["reason"], "form-checksum")
        self.assertIn('form "boxed", trailer', error["place"])

    def test_what_nobody_can_read_is_refused_as_that(self):
        for data in (b"LKD1" + bytes(500), random.Random(5).randbytes(40000)):
            error = self.desk.json(CALSEAL, "checksums", self.desk.put("read.bin", data), "--regions", self.desk.at("duo.json"), status=1)
            self.assertEqual(error["reason"], "form-opaque")

    def test_the_calibration_alone(self):
        read = self.desk.put("cal.bin", self.desk.flash[:128])
        sealed = self.seal_base(read, "--new-salt", self.desk.at("new.salt"))
        self.assertEqual(sealed["revision"], 0)
        flash = edited(self.desk.flash, 0x24, b"\x07\x08")[:128]
        self.seal_revision(self.desk.put("edit.bin", flash), "--salt", self.desk.at("new.salt"), "--caution", "mind the cold start")
        cautions = self.desk.json(CALSEAL, "show", self.desk.at("r1.calseal"))["manifest"]["cautions"]
        self.assertEqual(cautions[0], "the first read holds 128 of 320 bytes; nothing is proved about flash "
                                      "0x80000080-0x800000ff, eeprom 0x00000000-0x0000003f")
        self.assertIn("serial", cautions[1])
        self.assertEqual(cautions[-1], "mind the cold start")
        # The vehicle cannot be proved by such a read, and its reference must be given.
        self.assertEqual(self.check(read, "--salt", self.desk.at("new.salt"), status=1)["reason"], "vehicle-not-provable")
        verdict = self.check(read, "--salt", self.desk.at("new.salt"), "--vehicle", "blue estate")
        codes = [caution["code"] for caution in verdict["cautions"]]
        self.assertEqual([codes.count(code) for code in ("base-partial", "vehicle-not-read", "shop")], [1, 1, 1])
        self.assertEqual((self.desk.out / "new").read_bytes(), corrected(flash + self.desk.flash[128:])[:128])

    def test_an_edit_outside_the_calibration_read_is_not_accepted(self):
        self.seal_base(self.desk.put("cal.bin", self.desk.flash[:128]), "--new-salt", self.desk.at("new.salt"))
        code = edited(self.desk.flash, 0x90, b"\x00")
        error = self.desk.json(CALSEAL, "seal", "--base-bundle", self.desk.at("r0.calseal"), "--image", self.desk.put("edit.bin", edited(code, 5, b"X")[:128]),
                               "--correct", "--salt", self.desk.at("new.salt"), *self.desk.signing(), "-o", self.desk.at("r1.calseal"), status=1)
        self.assertEqual(error["reason"], "change-locked")


if __name__ == "__main__":
    unittest.main()
