"""A desk with a job folder: shop, read, region map, and short words for the verbs of `calseal job`."""

import json
import os
import pathlib
import zlib

import desk as desks
from desk import CALSEAL


def regions_with_mark():
    """The desk's region map with a revision mark in the EEPROM and a verification number: the slot of the fuel checksum."""
    regions = json.loads(json.dumps(desks.REGIONS))
    regions["identity"] += [
        {"name": "mark", "kind": "revision-mark", "memory": "eeprom", "at": "0x00000030", "size": 8, "encoding": "ascii"},
        {"name": "verification", "kind": "verification-number", "memory": "flash", "at": "0x80000010", "size": 4, "encoding": "hex"},
    ]
    return regions


def updated_flash():
    """The controller after a dealer's update: other software number, other code, a calibration moved by nothing."""
    flash = bytearray(desks.first_flash())
    flash[4:12] = b"DU-00002"
    flash[0x80:] = bytes((i * i + 7) & 0xFF for i in range(0x80))
    return desks.corrected(bytes(flash))


def of_one(answer):
    """What a command says of a job with one controller: what it says of that controller, beside what it says of the job."""
    flat = dict(answer)
    for name in ("controllers", "revisions", "noted"):
        if answer.get(name) and isinstance(answer[name][0], dict) and "controller" in answer[name][0]:
            flat.update({key: value for key, value in answer[name][0].items() if key != "findings"})
    if answer.get("controllers") and "findings" in answer:
        flat["findings"] = answer["findings"] + answer["controllers"][0]["findings"]
    if isinstance(answer.get("next"), list):
        flat["next"] = answer["next"][0]
    return flat


class JobDesk(desks.Desk):
    def __init__(self):
        super().__init__()
        self.open_shop()
        self.quicken("author.key")
        self.put("duo.json", json.dumps(regions_with_mark()).encode())
        self.whole = str(self.root / "oak-17")
        self.folder = self.whole + "/engine"

    @classmethod
    def with_revision(cls):
        """A job whose way back is delivered, and its first revision."""
        desk = cls()
        desk.new()
        desk.deliver_way_back()
        desk.send(1)
        return desk

    def read(self):
        return ["flash=" + self.at("flash.bin"), "eeprom=" + self.at("eeprom.bin")]

    def new_arguments(self, folder=None):
        return [CALSEAL, "job", "new", *self.read(), "--regions", self.at("duo.json"), "--vehicle", "blue estate", *self.signing(), "-o",
                folder or self.whole]

    def new(self):
        return of_one(self.json(*self.new_arguments()))

    def job(self, verb, *more, status=0):
        return of_one(self.json(CALSEAL, "job", verb, self.folder, *more, status=status))

    def note(self, fact, revision, *more, status=0):
        return self.job("note", fact, "--revision", revision, *more, "--time", desks.TIME, status=status)

    def deliver_way_back(self):
        self.note("sent", 0, "--detail", "mail")
        self.note("acknowledged", 0)

    def edited(self, number):
        """Arguments of an edit, and what it must become by our own arithmetic."""
        flash = desks.edited(self.flash, 0x24, bytes([number, number + 1]))
        eeprom = desks.edited(self.eeprom, 0x30, b"R%d-%05d" % (number, number * 111))
        return (["flash=" + self.put(f"edit{number}.bin", flash), "eeprom=" + self.put(f"mark{number}.bin", eeprom)],
                (desks.corrected(flash), eeprom))

    def send_arguments(self, number, folder=None):
        return [CALSEAL, "job", "send", folder or self.folder, *self.edited(number)[0], "--title", f"tune {number}", *self.signing()]

    def send(self, number, *more, status=0):
        return of_one(self.json(*self.send_arguments(number), *more, status=status))

    def status(self, *more, status=0):
        return self.job("status", "--trust", self.at("shop.trust"), *more, status=status)

    def next(self):
        return self.job("next")["next"]

    def customer(self, bundle, flash, eeprom, status=0):
        """The customer's checker on a bundle of the folder; the rebuilt files."""
        self.clear_out()
        self.must(desks.CALSEAL_CHECK, os.path.join(self.folder, bundle), "--trust", self.at("shop.trust"), "--salt",
                  os.path.join(self.folder, "job.salt"), "--read-is-fresh", "--read", "flash=" + flash, "--read", "eeprom=" + eeprom,
                  *self.image_arguments(), status=status)
        written = self.written()
        return (written.get("flash.new"), written.get("eeprom.new"))

    def tree(self, folder=None):
        """Every file of the controller's folder with its bytes."""
        top = pathlib.Path(folder or self.folder)
        return {str(path.relative_to(top)): path.read_bytes() for path in sorted(top.rglob("*")) if path.is_file()}

    def crc(self, flash):
        return zlib.crc32(flash[0x20:0x80]).to_bytes(4, "little").hex()
