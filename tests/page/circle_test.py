#!/usr/bin/env python3
"""One order all the way round, between the real programs and the real page, in Debian's Chromium at the size of a phone: sheet and page
from the shop, parcel from the customer, job, refusal and revision from the shop, verdict and image on the phone, receipt and drive log
back. Whatever is compared is taken apart here by Python's zipfile and json, which know nothing of ours.

CALSEAL_PICTURES=FOLDER keeps pictures.
"""

import hashlib
import json
import os
import pathlib
import sys
import unittest
import zipfile

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / folder) for folder in ("cli/e2e", "browser")]

import desk as desks
from chromium import Chromium
from desk import CALSEAL, CALSEAL_CHECK
from order_test import OrderDesk, manifest
from parcel_test import parcel_json

PICTURES = os.environ.get("CALSEAL_PICTURES")
PHONE = (360, 740)
WHY = "no file for your software yet"
DRIVE = b"Time (s),rpm\n0.0,850\n0.1,1200\n0.2,2400\n"


class CircleDesk(OrderDesk):
    """A shop with options, a sheet, a page and a ledger. Its file for one of the two options is for other software."""

    def __init__(self):
        super().__init__()
        self.open_sheet()
        self.ledger = str(self.root / "shop-ledger")
        self.ledgers("new")
        self.make("launch", "towing")
        other = json.loads((self.options / "launch.json").read_text()) | {"software_numbers": ["DU-00099"]}
        (self.options / "launch.json").write_text(json.dumps(other))
        self.sheet_of(["launch", "towing"])
        self.page = self.at("check.html")
        self.json(CALSEAL, "customer-page", *self.with_sheet(), "-o", self.page)

    def ledgers(self, verb, *more, status=0):
        return self.json(CALSEAL, "ledger", verb, self.ledger, *more, status=status)

    def trusting(self):
        return ["--trust", self.at("shop.trust")]

    def ledger_details(self):
        return [json.loads(line)["facts"] for line in pathlib.Path(self.ledger, "details.jsonl").read_text().splitlines()]

    def new_from(self, parcel):
        made = self.json(CALSEAL, "job", "new", parcel, "--regions", self.at("duo.json"), *self.signing(), "-o", self.whole)
        self.json(CALSEAL, "job", "ledger", self.whole, self.ledger, *self.trusting())
        self.deliver_way_back()
        return made

    def bundle(self, number=1):
        return f"{self.folder}/base-1/r{number}.calseal"

    def salt(self):
        return self.folder + "/job.salt"

    def reads_to_check(self):
        return ["--read", "flash=" + self.at("flash.bin"), "--read", "eeprom=" + self.at("eeprom.bin"), "--salt", self.salt()]

    def tune(self):
        """What the shop's editor makes of the read, and what the revision must then be, by our own arithmetic."""
        mark = desks.edited(self.eeprom, 0x30, b"R1-00111")
        arguments = [self.edit(stray=7), "eeprom=" + self.put("mark.bin", mark), "--unaccounted", "idle"]
        return arguments, desks.corrected(desks.edited(desks.edited(self.flash, 0x24, b"\x07"), 0x30, b"TOW")), mark

    def log_of(self, parcel, *more, status=0):
        return self.json(CALSEAL, "job", "log", self.whole, parcel, *more, status=status)

    def events(self):
        return [json.loads(line) for line in pathlib.Path(self.folder, "events.jsonl").read_text().splitlines()]


class Phone:
    """What a person does on the page."""

    def __init__(self, desk):
        self.desk = desk
        self.browser = Chromium(*PHONE)

    def picture(self, name):
        if PICTURES:
            self.browser.picture(f"{PICTURES}/circle-{name}.png")

    def click(self, element):
        element = self.browser.find(element) if isinstance(element, str) else element
        self.browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()

    def begin(self):
        self.browser.driver.get("about:blank")
        self.browser.open(self.desk.page)
        self.browser.until(lambda: self.browser.find("#form").is_displayed(), "the first view")

    def begin_parcel(self, customer=None, bundle=None):
        self.begin()
        self.click("#pcl-open")
        self.browser.until(lambda: self.browser.find("#pcl").is_displayed() and "Sheet 2" in self.browser.text("#pcl"), "the sheet")
        if customer is not None:
            self.browser.give("#pcl-customer", customer)
            self.browser.until(lambda: "Your key is in it" in self.browser.text("#pcl-customer-says"), "the customer file")
        if bundle is not None:
            self.browser.give("#pcl-bundle", bundle)
            self.browser.until(lambda: "revision 1 of" in self.browser.text("#pcl-bundle-says"), "the bundle")

    def give_reads(self, *files):
        self.browser.give("#pcl-add-reads", *files)
        said = lambda: [part.text for part in self.browser.find_all(".pcl-card-says")]
        self.browser.until(lambda: len(said()) == len(files) and all(text and "…" not in text for text in said()), "a look at the reads")
        return said()

    def answer_and_accept(self):
        self.click("#pcl-answer-fuel")
        for box in self.browser.find_all("[id^=pcl-caution-]"):
            self.click(box)

    def make(self, number):
        """Makes and saves the parcel and the customer file, under the number that it must have; the parcel's path and the key shown."""
        self.click("#pcl-make")
        self.browser.until(lambda: self.browser.find_all("#pcl-fingerprint"), "the parcel")
        fingerprint = self.browser.text("#pcl-fingerprint")
        for button in self.browser.find_all(".pcl-ready button"):
            self.click(button)
        name = f"to-shop-{number}.parcel"
        parcel = self.desk.put(f"{fingerprint[2:6]}-{name}", self.browser.saved_file(name))
        customer = self.desk.put(f"{fingerprint[2:6]}.customer", self.browser.saved_file("me.customer"))
        return parcel, customer, fingerprint

    def judge(self, *files):
        """The outcome and the reason of the check view."""
        self.begin()
        self.browser.find("#files").send_keys("\n".join(files))
        self.browser.until(lambda: self.browser.find("#given").get_attribute("aria-busy") == "false", "files taken in")
        self.browser.until(lambda: self.browser.find_all("#bundle-says .verdict"), "a look at the seal")
        self.click("#check")
        self.browser.until(lambda: self.browser.find_all("#verdict h2"), "a verdict")
        card = self.browser.find("#verdict > div")
        return next(name for name in card.get_attribute("class").split() if name != "verdict"), card.get_attribute("data-reason") or None

    def ordered(self):
        """The list `Ordered – in this revision`: of each row its class and its words."""
        self.browser.driver.execute_script("for (const part of document.querySelectorAll('#verdict details')) part.open = true")
        return [(item.get_attribute("class"), item.text) for item in self.browser.find_all("#verdict ul.ordered > li")]

    def save_images(self):
        for box in self.browser.find_all(".cautions input"):
            self.click(box)
        saved = {}
        for button in self.browser.find_all("#verdict ul.saves button"):
            self.click(button)
            name = next(word for word in button.text.split() if word.endswith((".bin", ".state")))
            saved[name] = self.browser.saved_file(name)
        return saved


class Circle(unittest.TestCase):
    def setUp(self):
        self.desk = CircleDesk()
        self.addCleanup(self.desk.close)
        self.phone = Phone(self.desk)
        self.addCleanup(self.phone.browser.__exit__)

    def look(self, name):
        self.phone.picture(name)
        self.assertLessEqual(self.phone.browser.overflow(), 0, name)
        self.assertEqual(self.phone.browser.complaints(), [], name)

    def test_from_the_order_to_the_drive(self):
        parcel, customer, fingerprint = self.customer_orders()
        self.shop_makes_the_job(parcel, fingerprint)
        self.shop_sends_after_it_has_said_why_not()
        self.customer_checks_on_the_phone()
        self.receipt_goes_back(customer, fingerprint)
        self.log_comes_in_and_is_of_that_revision(customer, fingerprint)
        self.another_customer_is_refused()

    # The steps.

    def customer_orders(self):
        desk, phone = self.desk, self.phone
        phone.begin_parcel()
        self.assertEqual(phone.give_reads(desk.at("flash.bin"), desk.at("eeprom.bin")), ["✓ Nothing about this read looks wrong."] * 2)
        phone.browser.give("#pcl-add-logs", desk.put("before.csv", DRIVE))
        for name in ("launch", "towing"):
            phone.click(f"#pcl-option-{name}")
        phone.browser.find("#pcl-answer-mass").send_keys("1450")
        phone.browser.find("#pcl-vehicle").send_keys("blue estate")
        phone.browser.find("#pcl-words").send_keys("It hesitates when cold.")
        phone.answer_and_accept()
        self.look("order")
        parcel, customer, fingerprint = phone.make(1)
        self.look("ready")
        self.compare_with_what_was_chosen(parcel_json(parcel))
        with zipfile.ZipFile(parcel) as archive:
            self.assertEqual([archive.read(name) for name in ("reads/1.bin", "reads/2.bin", "logs/1.log")], [desk.flash, desk.eeprom, DRIVE])
        return parcel, customer, fingerprint

    def compare_with_what_was_chosen(self, inside):
        self.assertEqual((inside["number"], inside["job"], inside["vehicle_reference"], inside["words"], inside["order"], inside["findings"]),
                         (1, "", "blue estate", "It hesitates when cold.", ["launch", "towing"], []))
        self.assertEqual(inside["answers"], [{"question": "fuel", "answer": "e10"}, {"question": "mass", "answer": "1450"}])
        self.assertEqual(inside["accepted"], ["By your own risk."])
        sheet = pathlib.Path(self.desk.at("shop.sheet")).read_bytes().split(b"\n")[0]
        self.assertEqual(inside["sheet"], hashlib.sha256(sheet).hexdigest())
        self.assertEqual([(one["controller"], one["memory"], one["series"]) for one in inside["reads"]],
                         [("engine", "flash", 1), ("engine", "eeprom", 1)])

    def shop_makes_the_job(self, parcel, fingerprint):
        desk = self.desk
        shown = desk.json(CALSEAL, "parcel", "show", parcel, *desk.with_sheet())
        self.assertEqual((shown["key_fingerprint"], shown["cautions"]), (fingerprint, []))
        desk.new_from(parcel)
        self.assertEqual(pathlib.Path(desk.whole, "parcels/1.parcel").read_bytes(), pathlib.Path(parcel).read_bytes())
        with zipfile.ZipFile(parcel) as archive:
            identity = hashlib.sha256(archive.read("parcel.json")).hexdigest()
        order = desk.status()["order"]
        self.assertEqual((order["options"], order["parcel"]), (["launch", "towing"], identity))

    def shop_sends_after_it_has_said_why_not(self):
        desk = self.desk
        arguments, _, _ = desk.tune()
        before = desk.tree()
        refused = desk.send_as(*arguments, status=1)
        self.assertEqual((refused["reason"], refused["place"]), ("order-open", "option launch"))
        self.assertEqual(desk.tree(), before)
        sent = desk.send_as(*arguments, "--without", "launch=" + WHY)
        self.assertEqual(sent["put_in"], ["towing"])
        signed = manifest(desk.bundle())
        self.assertEqual([(one["name"], one["why"]) for one in signed["ordered"]["options"]], [("launch", WHY), ("towing", "")])
        self.assertEqual([one["name"] for one in signed["options"]], ["towing"])
        desk.note("sent", 1, "--detail", "mail")

    def customer_checks_on_the_phone(self):
        desk, phone = self.desk, self.phone
        reads = [desk.at("flash.bin"), desk.at("eeprom.bin")]
        self.assertEqual(phone.judge(desk.bundle(), *reads, desk.salt()), ("accepted", None))
        self.assertEqual([(kind, text.replace("\n", " ")) for kind, text in phone.ordered()],
                         [("not-in", f"– Launch: not in this revision: {WHY}"), ("in", "✓ Towing: in this revision")])
        self.look("verdict")
        written = dict(zip(("flash", "eeprom"), desk.customer("base-1/r1.calseal", *reads)))
        _, flash, eeprom = desk.tune()
        self.assertEqual(written, {"flash": flash, "eeprom": eeprom})
        saved = phone.save_images()
        self.assertEqual((saved["flash-revision-1.bin"], saved["eeprom-revision-1.bin"]), (flash, eeprom))
        stranger = desk.put("stranger.bin", desks.edited(desk.eeprom, 0x23, b"X"))
        self.assertEqual(phone.judge(desk.bundle(), reads[0], stranger, desk.salt()), ("refused", "vehicle-mismatch"))

    def receipt_goes_back(self, customer, fingerprint):
        """By the program, with the key that the page made; the page's own receipts are in customer_file_test.py."""
        desk = self.desk
        receipt = desk.at("r1.receipt")
        said = desk.json(CALSEAL_CHECK, desk.bundle(), *desk.trusting(), *desk.reads_to_check(), "--customer", customer, "--receipt", receipt,
                         "--receipt-code")
        self.assertEqual((said["verdict"], said["receipt"]["key_fingerprint"]), ("accepted", fingerprint))
        append = ["append", "received", desk.bundle(), *desk.trusting()]
        entered = desk.ledgers(*append, "--receipt", receipt, "--fingerprint", fingerprint)
        self.assertEqual([(one["kind"], one["was_there"]) for one in entered["entries"]], [("sealed", True), ("received", False)])
        fact = desk.ledger_details()[-1]
        self.assertIn("receipt by key", fact["words"])
        self.assertEqual(fact["about"], hashlib.sha256(self.manifest_bytes()).hexdigest())
        by_voice = desk.ledgers(*append, "--code", said["receipt"]["code"], "--salt", desk.salt())
        self.assertEqual([one["kind"] for one in by_voice["entries"]], ["sealed", "received"])
        wrong = [*append[:2], desk.bundle(0), *desk.trusting(), "--code", said["receipt"]["code"], "--salt", desk.salt()]
        self.assertEqual(desk.ledgers(*wrong, status=1)["reason"], "receipt-invalid")
        for fact in ("acknowledged", "written"):
            desk.note(fact, 1)
        self.assertEqual(desk.ledgers("verify", *desk.trusting())["findings"], [])

    def manifest_bytes(self):
        with zipfile.ZipFile(self.desk.bundle()) as archive:
            return archive.read("manifest.json")

    def log_comes_in_and_is_of_that_revision(self, customer, fingerprint):
        desk, phone = self.desk, self.phone
        before = json.loads(pathlib.Path(customer).read_text().split("\n")[0])
        phone.begin_parcel(customer, desk.bundle())
        drive = DRIVE.replace(b"850", b"870")
        phone.browser.give("#pcl-add-logs", desk.put("drive.csv", drive))
        phone.answer_and_accept()
        parcel, customer, shown = phone.make(2)
        self.assertEqual(shown, fingerprint)
        identity = hashlib.sha256(self.manifest_bytes()).hexdigest()
        inside = parcel_json(parcel)
        self.assertEqual((inside["number"], inside["job"], inside["order"], inside["logs"][0]["revision"]), (2, "oak-17", [], identity))
        after = json.loads(pathlib.Path(customer).read_text().split("\n")[0])
        self.assertEqual((len(after["receipts"]), after.pop("number"), before.pop("number")), (1, 2, 1))
        self.assertEqual(after, before, "the page keeps what calseal-check put into the customer file")
        logs = desk.log_of(parcel)["parcel"]["logs"]
        self.assertEqual([(one["controller"], one["by"], one["not_attached"]) for one in logs], [("engine", "word", {})])
        driven = desk.events()[-1]
        self.assertEqual((driven["event"], driven["revision"], driven["identity"]), ("driven", 1, identity))
        self.assertEqual(driven["digest"], hashlib.sha256(drive).hexdigest())
        self.assertEqual((driven["log"]["rows"], driven["log"]["last"]), (3, "0.2"))
        self.assertEqual(desk.status()["order"]["options"], ["launch", "towing"], "a parcel that orders nothing changes no order")
        kept = [path.read_bytes() for path in pathlib.Path(desk.folder, "logs").iterdir()]
        self.assertCountEqual(kept, [DRIVE, drive])
        self.assertEqual(desk.log_of(parcel, status=1)["reason"], "parcel-old")

    def another_customer_is_refused(self):
        desk, phone = self.desk, self.phone
        phone.begin_parcel(bundle=desk.bundle())
        phone.browser.give("#pcl-add-logs", desk.put("theirs.csv", DRIVE.replace(b"850", b"999")))
        phone.answer_and_accept()
        parcel, _, _ = phone.make(1)
        before = desk.tree(desk.whole)
        self.assertEqual(desk.log_of(parcel, status=1)["reason"], "parcel-other")
        self.assertEqual(desk.tree(desk.whole), before)


if __name__ == "__main__":
    unittest.main()
