"""What was ordered is kept: in the parcel, in the job, in the manifest, and in what the customer's checker says. Bundles are taken apart
here by Python's zipfile and json, which know nothing of ours."""

import hashlib
import json
import os
import pathlib
import unittest
import zipfile

import desk as desks
from desk import CALSEAL, CALSEAL_CHECK
from parcel_test import ParcelDesk, parcel_json

BYTES = {"towing": (0x30, b"TOW"), "launch": (0x40, b"LAUNCH"), "winter": (0x60, b"COLD")}


def manifest(path):
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("manifest.json"))


class OrderDesk(ParcelDesk):
    """A shop with a folder of option files beside its jobs."""

    def __init__(self):
        super().__init__()
        self.options = self.inputs / "stock"
        self.options.mkdir()

    def make(self, *names):
        for name in names:
            at, new = BYTES[name]
            edit = self.put(name + ".bin", desks.edited(self.flash, at, new))
            self.json(CALSEAL, "option", "make", "--regions", self.at("duo.json"), *[part for file in self.read() for part in ("--base", file)],
                      "--image", "flash=" + edit, "--image", "eeprom=" + self.at("eeprom.bin"), "--name", name, "--title", name.title(), "-o",
                      str(self.options / (name + ".json")))

    def from_parcel(self, *order):
        """A job from a parcel that orders these; the parcel's file."""
        self.open_sheet()
        self.sheet_of(order)
        words = [word for name in order for word in ("--order", name)]
        path, _ = self.parcel(*self.reads(), *words, "--answer", "fuel=e10", "--accept-cautions", *self.with_sheet())
        self.json(CALSEAL, "job", "new", path, "--regions", self.at("duo.json"), "--vehicle", "blue estate", *self.signing(), "-o", self.whole)
        self.deliver_way_back()
        return path

    def sheet_of(self, names):
        for file in pathlib.Path(self.at("options")).iterdir():
            file.unlink()
        for name in names:
            source = self.options / (name + ".json")
            text = source.read_bytes() if source.exists() else json.dumps(
                {"calseal": "option/1", "name": name, "title": name.title(), "family": {"controller": "gearbox", "region_map": "solo"},
                 "edits": [{"memory": "flash", "at": "0x80000024", "before": "00", "after": "01"}]}).encode()
            pathlib.Path(self.at("options"), name + ".json").write_bytes(text)
        self.json(CALSEAL, "sheet", "make", *self.sheet_arguments(), "--after", self.at("shop.sheet"))

    def edit(self, *names, stray=None):
        flash = self.flash
        for name in names:
            flash = desks.edited(flash, *BYTES[name])
        if stray is not None:
            flash = desks.edited(flash, 0x24, bytes([stray]))
        return "flash=" + self.put("edit.bin", flash)

    def send_as(self, *more, status=0):
        return self.job("send", *more, "--option-folder", self.options, *self.signing(), status=status)

    def note_order(self, *names, status=0):
        words = [word for name in names for word in ("--order", name)] or ["--order-nothing"]
        return self.json(CALSEAL, "job", "note", self.whole, "ordered", *words, status=status)

    def sealed(self, number):
        return manifest(f"{self.folder}/base-1/r{number}.calseal")


class OrderKept(unittest.TestCase):
    def setUp(self):
        self.desk = OrderDesk()
        self.addCleanup(self.desk.close)

    def test_from_the_parcel_into_the_manifest_and_the_verdict(self):
        desk = self.desk
        desk.make("towing", "launch", "winter")
        path = desk.from_parcel("launch", "towing")
        with zipfile.ZipFile(path) as archive:
            identity = hashlib.sha256(archive.read("parcel.json")).hexdigest()
        noted = desk.status()["order"]
        self.assertEqual((noted["parcel"], noted["options"]), (identity, ["launch", "towing"]))
        # Erasing the parcels takes nothing away, and both options come from the shop's folder.
        pathlib.Path(desk.whole, "parcels/1.parcel").unlink()
        sent = desk.send_as(desk.edit(stray=7), "--unaccounted", "idle")
        self.assertEqual(sorted(sent["put_in"]), ["launch", "towing"])
        self.assertEqual([(one["name"], one["state"], one["why"]) for one in sent["ordered"]], [("launch", "in", ""), ("towing", "in", "")])
        signed = desk.sealed(1)
        self.assertEqual(signed["ordered"], {"time": noted["time"], "parcel": identity, "options": [
            {"name": "launch", "title": "Launch", "why": ""}, {"name": "towing", "title": "Towing", "why": ""}]})
        self.assertEqual([one["name"] for one in signed["options"]], ["launch", "towing"])
        flash = desks.corrected(desks.edited(desks.edited(desks.edited(desk.flash, 0x24, b"\x07"), 0x30, b"TOW"), 0x40, b"LAUNCH"))
        self.assertEqual(desk.customer("base-1/r1.calseal", desk.at("flash.bin"), desk.at("eeprom.bin"))[0], flash)
        self.assertEqual(desk.sealed(0)["ordered"], {"time": "", "parcel": "", "options": []})

    def check(self, number):
        desk = self.desk
        arguments = [CALSEAL_CHECK, f"{desk.folder}/base-1/r{number}.calseal", "--trust", desk.at("shop.trust"), "--seal-only"]
        return desk.json(*arguments), desk.must(*arguments).stdout.decode()

    def test_every_state_is_shown_to_the_customer(self):
        desk = self.desk
        desk.make("towing", "launch", "winter")
        desk.from_parcel("launch", "towing")
        desk.send_as("--option", desk.options / "towing.json", "--option", desk.options / "winter.json", "--without", "launch=the clutch first")
        message = pathlib.Path(desk.whole, "handover-2/message.txt").read_text()
        self.assertIn("  In it: Towing, Winter\n  Ordered, and NOT in it: Launch: the clutch first\n", message)
        said, text = self.check(1)
        self.assertEqual([(one["name"], one["state"], one["why"]) for one in said["ordered"]["options"]],
                         [("launch", "not-in", "the clutch first"), ("towing", "in", ""), ("winter", "not-ordered", "")])
        for line in ("Launch (launch): NOT in this revision: the clutch first", "Towing (towing): in this revision\n",
                     "Winter (winter): in this revision, and was not ordered"):
            self.assertIn(line, text)

    def test_what_is_left_out_needs_a_reason_and_keeps_it(self):
        desk = self.desk
        desk.make("towing", "launch")
        desk.from_parcel("launch", "towing")
        before = desk.tree()
        only = ["--option", desk.options / "towing.json"]
        refused = desk.send_as(*only, status=1)
        self.assertEqual((refused["reason"], refused["place"]), ("order-open", "option launch"))
        self.assertEqual(desk.send_as(desk.edit(stray=1), "--no-options", "--without", "launch=later", status=1)["place"], "option towing")
        self.assertEqual(desk.tree(), before)
        desk.send_as(*only, "--without", "launch=later")
        # The reason stays without being said again, and the option comes in when it is given.
        again = desk.send_as(desk.edit("towing", stray=2), "--unaccounted", "idle")
        self.assertEqual([(one["name"], one["why"]) for one in again["ordered"]], [("launch", "later"), ("towing", "")])
        both = desk.send_as(desk.edit("towing", stray=2), "--unaccounted", "idle", *only, "--option", desk.options / "launch.json")
        self.assertEqual([one["why"] for one in both["ordered"]], ["", ""])

    def test_wrong_words_about_the_order(self):
        desk = self.desk
        desk.make("towing", "launch")
        desk.from_parcel("towing")
        for more, place in ((["--without", "launch=later"], "--without"), (["--without", "towing"], "--without"), (["--without", "towing="], "--without"),
                            (["--option", desk.options / "towing.json", "--without", "towing=later"], "--without")):
            refused = desk.send_as(desk.edit(stray=1), *more, status=2)
            self.assertEqual((refused["reason"], refused["place"]), ("usage", place), more)
        for words in ([], ["--order", "Towing"], ["--order", "towing", "--order-nothing"], ["--order", "towing", "--revision", "0"]):
            self.assertEqual(desk.json(CALSEAL, "job", "note", desk.whole, "ordered", *words, status=2)["reason"], "usage", words)
        self.assertEqual(desk.json(CALSEAL, "job", "note", desk.whole, "remark", "--detail", "x", "--order", "towing", status=2)["reason"], "usage")

    def test_a_file_that_is_missing_or_there_twice(self):
        desk = self.desk
        desk.make("towing")
        desk.from_parcel("towing", "winter")  # the sheet offers it for another controller alone
        self.assertEqual(desk.send_as(status=1)["place"], "option winter")
        desk.send_as("--without", "winter=not for this car")
        (desk.options / "towing-2.json").write_bytes((desk.options / "towing.json").read_bytes().replace(b"Towing", b"TOWING"))
        desk.note_order("launch")
        desk.note_order("towing", "winter")
        # In the newest revision already, so nobody looks for a file.
        desk.send_as(desk.edit("towing", stray=3), "--unaccounted", "idle")
        desk.make("launch")
        (desk.options / "launch-2.json").write_bytes((desk.options / "launch.json").read_bytes().replace(b"Launch", b"LAUNCH"))
        desk.note_order("towing", "launch")
        refused = desk.send_as(desk.edit("towing", stray=4), "--unaccounted", "idle", status=1)
        self.assertEqual((refused["reason"], refused["place"]), ("order-open", "option launch"))
        self.assertIn("launch-2.json", refused["found"])
        # A file that is no option ends it: what cannot be read is not taken for absent.
        (desk.options / "launch-2.json").write_text("{")
        self.assertEqual(desk.send_as(desk.edit("towing", stray=4), status=1)["reason"], "json-syntax")

    def test_a_damaged_file_of_another_controller_is_not_taken_for_none(self):
        desk = self.desk
        desk.make("towing")
        desk.from_parcel("towing", "winter")
        solo = dict(desks.REGIONS, controller="gearbox", name="solo", identity=desks.REGIONS["identity"][:1],
                    memories=desks.REGIONS["memories"][:1], regions=desks.REGIONS["regions"][:1])
        desk.put("solo.json", json.dumps(solo).encode())
        desk.json(CALSEAL, "job", "add", desk.whole, "gearbox.flash=" + desk.at("flash.bin"), "--regions", desk.at("solo.json"), "--option",
                  desk.at("options") + "/winter.json", *desk.signing())
        desk.note_order("towing", "winter")
        file = next(pathlib.Path(desk.whole, "gearbox/base-1/options").iterdir())
        whole = file.read_bytes()
        file.write_bytes(whole[:-2])
        self.assertEqual(desk.send_as(status=1)["reason"], "json-syntax")
        file.write_bytes(whole)
        desk.send_as()
        self.assertEqual([one["why"] for one in desk.sealed(1)["ordered"]["options"]], ["", "it is for another controller: gearbox"])

    def test_an_order_that_changes(self):
        desk = self.desk
        desk.make("towing", "launch")
        desk.from_parcel("launch", "towing")
        desk.send_as()
        self.assertEqual([one["name"] for one in desk.sealed(1)["options"]], ["launch", "towing"])
        desk.note_order("towing")
        self.assertEqual(desk.status()["order"]["options"], ["towing"])
        self.assertEqual(desk.status()["order"]["parcel"], "")
        # What he took back is still in the edit: said, and not sealed unseen.
        refused = desk.send_as(desk.edit("towing", "launch"), "--unaccounted", "idle", status=1)
        self.assertEqual((refused["reason"], refused["place"]), ("order-open", "option launch"))
        # Revision 1 was nothing but options, so the new order needs no file of the editor.
        sent = desk.send_as()
        self.assertEqual([(one["name"], one["state"]) for one in sent["ordered"]], [("towing", "in")])
        self.assertEqual(desk.customer("base-1/r2.calseal", desk.at("flash.bin"), desk.at("eeprom.bin"))[0],
                         desks.corrected(desks.edited(desk.flash, 0x30, b"TOW")))
        self.assertEqual(desk.send_as(status=2)["reason"], "usage")
        # An edit is never dropped for an order.
        desk.send_as(desk.edit("towing", stray=9), "--unaccounted", "idle")
        desk.note_order("launch", "towing")
        self.assertEqual(desk.send_as(status=2)["reason"], "usage")
        kept = desk.send_as("--option", desk.options / "towing.json", "--option", desk.options / "launch.json", "--without", "launch=x", status=2)
        self.assertEqual(kept["reason"], "usage")
        desk.note_order()
        self.assertEqual(desk.status()["order"]["options"], [])
        taken = desk.send_as(desk.edit(stray=9))
        self.assertEqual((taken["ordered"], desk.sealed(4)["ordered"]["options"], desk.sealed(4)["ordered"]["time"] != ""), ([], [], True))

    def test_an_option_in_the_image_that_nobody_named(self):
        desk = self.desk
        desk.make("towing", "launch", "winter")
        desk.from_parcel("towing")
        refused = desk.send_as(desk.edit("towing", "winter"), "--unaccounted", "idle", status=1)
        self.assertEqual((refused["reason"], refused["place"]), ("order-open", "option winter"))
        named = desk.send_as(desk.edit("towing", "winter"), "--option", desk.options / "towing.json", "--option", desk.options / "winter.json")
        self.assertEqual([(one["name"], one["state"]) for one in named["ordered"]], [("towing", "in"), ("winter", "not-ordered")])

    def test_parcels_that_order_nothing_change_nothing(self):
        desk = self.desk
        desk.make("towing", "launch")
        desk.from_parcel("towing")
        log, _ = desk.parcel("--log", desk.put("drive.csv", b"Time (s),rpm\n0.0,850\n"))
        desk.json(CALSEAL, "job", "log", desk.whole, log)
        self.assertEqual(desk.status()["order"]["options"], ["towing"])
        desk.sheet_of(["launch", "towing"])
        more, _ = desk.parcel("--order", "launch", "--order", "towing", "--answer", "fuel=e10", "--accept-cautions", *desk.with_sheet())
        self.assertEqual(parcel_json(more)["order"], ["launch", "towing"])
        desk.json(CALSEAL, "job", "log", desk.whole, more)
        self.assertEqual(desk.status()["order"]["options"], ["launch", "towing"])

    def test_options_given_with_the_read_are_an_order(self):
        desk = self.desk
        desk.make("towing")
        desk.json(*desk.new_arguments(), "--option", desk.options / "towing.json")
        desk.deliver_way_back()
        self.assertEqual((desk.status()["order"]["options"], desk.status()["order"]["parcel"]), (["towing"], ""))
        sent = desk.job("send", *desk.signing())
        self.assertEqual([(one["name"], one["state"]) for one in sent["ordered"]], [("towing", "in")])
        # A revision that is sealed again keeps the order that it had.
        desk.note_order("towing", "launch")
        again = desk.job("reissue", 1, *desk.signing())
        self.assertEqual(manifest(os.path.join(desk.folder, again["bundle"]))["ordered"], desk.sealed(1)["ordered"])


if __name__ == "__main__":
    unittest.main()
