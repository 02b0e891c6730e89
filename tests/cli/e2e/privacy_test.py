"""Two vehicles that differ in their binding fields alone, and in what depends on these: what the shop seals for them and what the
programs say of it is the same, byte for byte, but for salted digests and for what hashes or signs those."""

import hashlib
import io
import json
import pathlib
import re
import unittest
import zipfile

import demo_desk
from desk import CALSEAL, CALSEAL_CHECK, edited

VIN_AT, VIN_SIZE, SERIAL_AT, CRC_AT, AGAIN_AT = 0x40, 17, 0x58, 0x60, 0x68


def crc_16_modbus(data):
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def other_vehicle(eeprom):
    """The same controller in another vehicle: VIN and serial, their CRC, the VIN's complement."""
    vin = bytes(eeprom[VIN_AT:VIN_AT + VIN_SIZE - 4]) + b"9876"
    data = edited(edited(eeprom, VIN_AT, vin), SERIAL_AT, bytes(range(8)))
    data = edited(data, CRC_AT, crc_16_modbus(data[VIN_AT:VIN_AT + 0x20]).to_bytes(2, "little"))
    return edited(data, AGAIN_AT, bytes(0xFF ^ byte for byte in vin))


class Vehicle:
    """One vehicle's job: r0 and r1, its reads, and the digests that may be its own."""

    def __init__(self, desk, name, eeprom, salt):
        self.desk, self.name = desk, name
        self.reads = ["flash=" + desk.data("engine-a-flash.bin"), "eeprom=" + desk.put(f"{name}-eeprom.bin", eeprom)]
        desk.must(CALSEAL, "seal", "--job", "oak-17", "--regions", demo_desk.MAPS / "engine.regions.json", "--base", self.reads[0],
                  "--base", self.reads[1], "--vehicle", "blue estate", "--salt", salt, *desk.signing(), "-o", self.bundle(0))
        desk.must(CALSEAL, "seal", "--base-bundle", self.bundle(0), "--image", "flash=" + desk.data("engine-r1-flash.bin"),
                  "--correct", "--salt", salt, "--title", "first tune", *desk.signing(), "-o", self.bundle(1))
        self.manifest = json.loads(zipfile.ZipFile(self.bundle(1)).read("manifest.json"))
        self.own = {field["digest"] for field in self.manifest["controllers"][0]["binding"]} | {self.manifest["parent"]}

    def bundle(self, number):
        return self.desk.at(f"{self.name}-r{number}.calseal")

    def check(self, *more):
        reads = [word for read in self.reads for word in ("--read", read)]
        return [CALSEAL_CHECK, self.bundle(1), "--trust", self.desk.at("shop.trust"), "--salt", self.desk.at("oak.salt"),
                "--read-is-fresh", *reads, *more]


class Privacy(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desk = demo_desk.DemoDesk()
        salt = desk.put("oak.salt", b"5a" * 32 + b"\n")
        pathlib.Path(salt).chmod(0o600)
        eeprom = desk.bytes_of("engine-a-eeprom.bin")
        cls.one = Vehicle(desk, "one", eeprom, salt)
        cls.two = Vehicle(desk, "two", other_vehicle(eeprom), salt)

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def test_the_vehicles_are_told_apart(self):
        self.assertEqual(self.one.own & self.two.own, set())
        reads = [word for read in self.two.reads for word in ("--read", read)]
        arguments = [CALSEAL_CHECK, self.one.bundle(1), "--trust", self.desk.at("shop.trust"), "--salt", self.desk.at("oak.salt"),
                     "--read-is-fresh", *reads]
        self.assertEqual(self.desk.json(*arguments, status=1)["reason"], "vehicle-mismatch")

    def test_contents_are_the_same(self):
        contents = []
        for vehicle in (self.one, self.two):
            archive = zipfile.ZipFile(vehicle.bundle(1))
            contents.append({name: archive.read(name) for name in archive.namelist() if name.split("/")[0] not in ("manifest.json", "signatures")})
        self.assertEqual(contents[0], contents[1])
        self.assertTrue(any(name.startswith("payload/") for name in contents[0]))

    def test_manifests_differ_in_salted_digests_and_parent_alone(self):
        texts = []
        for vehicle in (self.one, self.two):
            text = zipfile.ZipFile(vehicle.bundle(1)).read("manifest.json").decode()
            for digest in vehicle.own:
                self.assertIn(digest, text)
            texts.append(re.sub("|".join(vehicle.own), "-", text))
        self.assertEqual(texts[0], texts[1])

    def masked(self, vehicle, text, *more):
        """The text without digests that hash what is the vehicle's own, and without its folder names."""
        shown = self.desk.json(CALSEAL, "show", vehicle.bundle(1))
        own = vehicle.own | {shown["identity"], shown["phrase"]} | set(more)
        text = text.replace(vehicle.name + "-", "")
        for word in sorted(own, key=len, reverse=True):
            text = text.replace(word, "-")
        return text

    def test_what_is_shown_and_judged_is_the_same(self):
        for look in (lambda v: [CALSEAL, "show", v.bundle(1), "--json"], lambda v: [CALSEAL, "show", v.bundle(1)]):
            texts = [self.masked(v, self.desk.must(*look(v)).stdout.decode()) for v in (self.one, self.two)]
            self.assertEqual(texts[0], texts[1])
        texts = []
        for vehicle in (self.one, self.two):
            verdict = self.desk.json(*vehicle.check())
            self.assertEqual((verdict["verdict"], verdict["vehicle_proof"]), ("accepted", "proved"))
            images = [file["sha256"] for file in verdict["files"]]  # of the images themselves
            texts.append(self.masked(vehicle, json.dumps(verdict), *images))
        self.assertEqual(texts[0], texts[1])

    def test_the_state_and_a_report_are_the_same(self):
        states, reports = [], []
        for vehicle in (self.one, self.two):
            state = self.desk.root / f"{vehicle.name}.state"
            self.desk.clear_out()
            self.desk.must(*vehicle.check("--state", state, *self.desk.image_arguments()))
            text = state.read_text()
            states.append(self.masked(vehicle, text.split("\n", 1)[0]))
            report = self.desk.out / "report.html"
            self.desk.must(CALSEAL, "report", vehicle.bundle(1), "-o", report)
            # The page's own style holds the identity for paper, and the policy names the style by its digest.
            text = re.sub(r"sha256-[A-Za-z0-9+/=]*", "-", report.read_text())
            file_digest = self.sha256(vehicle.bundle(1))
            reports.append(self.masked(vehicle, text, file_digest))
        times = re.compile(r'"last_time":"[^"]*"')
        self.assertEqual(*[times.sub("", state) for state in states])
        self.assertEqual(reports[0], reports[1])

    @staticmethod
    def sha256(path):
        return hashlib.sha256(pathlib.Path(path).read_bytes()).hexdigest()

    def test_no_plain_digest_of_a_read_is_in_a_later_revision(self):
        for vehicle in (self.one, self.two):
            data = b"".join(zipfile.ZipFile(io.BytesIO(pathlib.Path(vehicle.bundle(1)).read_bytes())).read(name)
                            for name in zipfile.ZipFile(vehicle.bundle(1)).namelist())
            for read in vehicle.reads:
                self.assertNotIn(self.sha256(read.split("=", 1)[1]).encode(), data)


if __name__ == "__main__":
    unittest.main()
