"""A desk with the invented vehicles of fixtures/demo: their data, a shop, and bundles r0 and r1 (engine), t0 and t1
(transmission)."""

import os
import pathlib
import subprocess

import desk as desks
from desk import CALSEAL

DEMO_DATA = os.environ["CALSEAL_DEMO_DATA"]
MAPS = pathlib.Path(__file__).resolve().parents[3] / "fixtures/demo"


class DemoDesk(desks.Desk):
    def __init__(self):
        super().__init__()
        subprocess.run([DEMO_DATA, str(self.inputs / "data")], check=True, capture_output=True)
        self.open_shop()

    def data(self, name):
        return self.at("data/" + name)

    def bytes_of(self, name):
        return pathlib.Path(self.data(name)).read_bytes()

    def seal_engine(self):
        self.must(CALSEAL, "seal", "--job", "oak-17", "--regions", MAPS / "engine.regions.json",
                  "--base", "flash=" + self.data("engine-a-flash.bin"), "--base", "eeprom=" + self.data("engine-a-eeprom.bin"),
                  "--vehicle", "blue estate", "--new-salt", self.at("oak.salt"), *self.signing(), "-o", self.at("r0.calseal"))
        self.seal_on("r0", "flash=" + self.data("engine-r1-flash.bin"), "r1")

    def seal_transmission(self):
        self.must(CALSEAL, "seal", "--job", "oak-17-gearbox", "--regions", MAPS / "transmission.regions.json",
                  "--base", self.data("transmission-a.s19"), "--vehicle", "blue estate", "--salt", self.at("oak.salt"),
                  *self.signing(), "-o", self.at("t0.calseal"))
        self.seal_on("t0", self.data("transmission-r1.s19"), "t1")

    def seal_on(self, base, image, name, *more):
        self.must(CALSEAL, "seal", "--base-bundle", self.at(base + ".calseal"), "--image", image, "--correct", "--salt",
                  self.at("oak.salt"), *more, *self.signing(), "-o", self.at(name + ".calseal"))

    def evidence(self, bundle):
        return [self.at(bundle + ".calseal"), "--trust", self.at("shop.trust"), "--salt", self.at("oak.salt")]

    def engine_read(self, flash="engine-a-flash.bin", eeprom="engine-a-eeprom.bin"):
        """Arguments of a read; names of demo files, or whole paths."""
        at = lambda name: name if name.startswith("/") else self.data(name)
        return ["--read", "flash=" + at(flash), "--read", "eeprom=" + at(eeprom)]
