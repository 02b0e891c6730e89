"""A read whose checks fail: kept as evidence and way back, never built on; a known stock of the same software serves as base."""

import pathlib
import unittest

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK, corrected, edited, first_flash
from job_desk import JobDesk


class ReceivedFailing(unittest.TestCase):
    """Somebody changed the calibration before us and left its checksum as it was."""

    def setUp(self):
        self.desk = JobDesk()
        self.stock = first_flash()
        self.desk.flash = edited(self.stock, 0x30, b"\x99\x98")
        self.desk.put("flash.bin", self.desk.flash)
        self.desk.put("stock.bin", self.stock)

    def tearDown(self):
        self.desk.close()

    def carry(self, *more, status=0):
        return self.desk.job("carry", *self.desk.read(), *more, "--reason", "the read was modified before us", *self.desk.signing(),
                             status=status)

    def manifest(self, bundle):
        return self.desk.json(CALSEAL, "show", str(pathlib.Path(self.desk.folder) / bundle))["manifest"]

    def test_only_on_the_word_as_received(self):
        error = self.desk.json(*self.desk.new_arguments(), status=1)
        self.assertEqual(error["reason"], "map-not-believed")
        self.assertFalse(pathlib.Path(self.desk.folder).exists())
        self.desk.json(*self.desk.new_arguments(), "--as-received")
        manifest = self.manifest("base-1/r0.calseal")
        check = manifest["controllers"][0]["checksums"][0]
        self.assertEqual(check["state"], "fails")
        self.assertEqual(len([text for text in manifest["cautions"] if text.endswith("restores it so: fuel")]), 1)
        self.assertNotIn("stock", str(manifest["base"]) + manifest["title"])

    def test_the_way_back_restores_what_came_to_the_byte(self):
        self.desk.json(*self.desk.new_arguments(), "--as-received")
        later = corrected(edited(self.desk.flash, 0x24, b"\x01\x02"))
        eeprom = edited(self.desk.eeprom, 2, b"\x77")
        flash_file, eeprom_file = self.desk.put("later.bin", later), self.desk.put("later-e.bin", eeprom)
        self.desk.clear_out()
        verdict = self.desk.json(CALSEAL_CHECK, str(pathlib.Path(self.desk.folder) / "base-1/r0.calseal"), "--trust", self.desk.at("shop.trust"),
                                 "--salt", str(pathlib.Path(self.desk.folder) / "job.salt"), "--read-is-fresh", "--read",
                                 "flash=" + flash_file, "--read", "eeprom=" + eeprom_file, *self.desk.image_arguments())
        self.assertEqual(verdict["verdict"], "accepted")
        self.assertEqual([caution["code"] for caution in verdict["cautions"]].count("received-failing"), 1)
        written = self.desk.written()
        self.assertEqual((written["flash.new"], written["eeprom.new"]), (self.desk.flash, eeprom))

    def test_nothing_is_built_on_it(self):
        self.desk.json(*self.desk.new_arguments(), "--as-received")
        self.desk.deliver_way_back()
        self.assertEqual(self.desk.next()["code"], "known-stock")
        self.assertEqual(self.desk.send(1, status=1)["reason"], "map-not-believed")

    def test_a_known_stock_is_the_next_base(self):
        self.desk.json(*self.desk.new_arguments(), "--as-received")
        made = self.carry("--stock", "flash=" + self.desk.at("stock.bin"))
        self.assertEqual(made["base"], 2)
        manifest = self.manifest("base-2/r0.calseal")
        # By pinned digests: a digest of the whole read would let its serial number be searched for.
        lint = self.desk.json(CALSEAL, "regions", "lint", "--image", "flash=" + self.desk.at("stock.bin"), self.desk.at("duo.json"))
        read = self.manifest("base-1/r0.calseal")["controllers"][0]["pinned"]["after"]
        self.assertEqual([tuple(pair) for pair in manifest["annotations"]],
                         [("base-stock", "pinned digest " + lint["maps"][0]["pinned_digest"]), ("base-read", "pinned digest " + read)])
        self.assertEqual(manifest["base"], {"number": 2, "reason": "the read was modified before us"})
        # Bound to this vehicle: its serial number and what it learned, on the stock's calibration.
        self.desk.deliver_way_back()
        self.desk.flash = self.stock
        self.desk.send(1)
        wanted = corrected(edited(self.stock, 0x24, bytes([1, 2])))
        flash, eeprom = self.desk.customer("base-2/r1.calseal", self.desk.at("flash.bin"), self.desk.at("eeprom.bin"))
        self.assertEqual(flash, wanted)
        self.assertEqual(eeprom[:0x30], self.desk.eeprom[:0x30])
        other = self.desk.put("other-e.bin", edited(self.desk.eeprom, 0x20, b"SN-999"))
        self.desk.customer("base-2/r1.calseal", self.desk.at("flash.bin"), other, status=1)
        self.assertEqual(self.desk.written(), {})

    def test_a_stock_of_other_software_or_a_broken_one_is_none(self):
        self.desk.json(*self.desk.new_arguments(), "--as-received")
        before = self.desk.tree()
        other = self.desk.put("other.bin", edited(self.stock, 4, b"DU-00002"))
        self.assertEqual(self.carry("--stock", "flash=" + other, status=1)["reason"], "identity-mismatch")
        broken = self.desk.put("broken.bin", edited(self.stock, 0x40, b"\x00"))
        self.assertEqual(self.carry("--stock", "flash=" + broken, status=1)["reason"], "map-not-believed")
        self.assertEqual(self.desk.tree(), before)

    def test_by_hand(self):
        arguments = [CALSEAL, *self.desk.base_arguments(), "-o", self.desk.at("r0.calseal")]
        self.assertEqual(self.desk.json(*arguments, status=1)["reason"], "map-not-believed")
        self.desk.json(*arguments, "--as-received")


class VerificationNumber(unittest.TestCase):
    def test_of_the_result_stands_in_manifest_verdict_and_show(self):
        desk = JobDesk.with_revision()
        try:
            wanted = desk.edited(1)[1][0]
            after = desk.crc(wanted)
            bundle = str(pathlib.Path(desk.folder) / "base-1/r1.calseal")
            manifest = desk.json(CALSEAL, "show", bundle)["manifest"]
            self.assertIn(after, [field["text"] for field in manifest["controllers"][0]["identity"]])
            text = f"changes to {after}: an inspection may compare it"
            self.assertEqual(len([caution for caution in manifest["cautions"] if text in caution]), 1)
            shown = " ".join(desk.must(CALSEAL, "show", bundle).stdout.decode().split())
            self.assertIn(text, shown)
            verdict = desk.must(CALSEAL_CHECK, bundle, "--trust", desk.at("shop.trust"), "--salt", desk.folder + "/job.salt",
                                "--read-is-fresh", *[word for read in desk.read() for word in ("--read", read)])
            self.assertIn(text, " ".join(verdict.stdout.decode().split()))
            self.assertEqual(" ".join(verdict.stdout.decode().split()).count("an inspection may compare it"), 1)
        finally:
            desk.close()


if __name__ == "__main__":
    unittest.main()
