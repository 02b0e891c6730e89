#!/usr/bin/env python3
"""The customer file in the checks of the page, in Debian's Chromium at the size of a phone: it comes from the parcel that the page made,
keeps salt and state and receipts, and is all that the next check needs. What it holds is read here by Python's json.

CALSEAL_PICTURES=FOLDER keeps pictures.
"""

import hashlib
import json
import pathlib
import unittest

import circle_test as circle
import desk as desks
from circle_test import CircleDesk, Phone
from desk import CALSEAL_CHECK


def inside(path):
    line, digest, rest = pathlib.Path(path).read_text().split("\n")
    assert (hashlib.sha256(line.encode()).hexdigest(), rest) == (digest, "")
    return json.loads(line)


def outcomes(customer):
    return [json.loads(text.split("\n")[0])["outcome"] for text in inside(customer)["receipts"]]


class CustomerFileInChecks(unittest.TestCase):
    def setUp(self):
        self.desk = CircleDesk()
        self.addCleanup(self.desk.close)
        self.phone = Phone(self.desk)
        self.addCleanup(self.phone.browser.__exit__)
        self.parcel_and_job()
        self.reads = [self.desk.at("flash.bin"), self.desk.at("eeprom.bin")]

    def parcel_and_job(self):
        desk, phone = self.desk, self.phone
        phone.begin_parcel()
        phone.give_reads(desk.at("flash.bin"), desk.at("eeprom.bin"))
        phone.answer_and_accept()
        parcel, self.customer, self.fingerprint = phone.make(1)
        desk.new_from(parcel)
        for number in (1, 2, 3):
            desk.send(number)

    def judge(self, number, *files):
        """As a person does it: with a read that was taken just now."""
        phone = self.phone
        phone.begin()
        phone.click("#fresh")
        phone.browser.find("#files").send_keys("\n".join(files if number is None else [self.desk.bundle(number), *files]))
        phone.browser.until(lambda: phone.browser.find("#given").get_attribute("aria-busy") == "false", "files taken in")
        return self.check()

    def check(self):
        phone = self.phone
        phone.click("#check")
        phone.browser.until(lambda: phone.browser.find_all("#verdict h2"), "a verdict")
        card = phone.browser.find("#verdict > div")
        return next(name for name in card.get_attribute("class").split() if name != "verdict"), card.get_attribute("data-reason") or None

    def buttons(self):
        return [part.text for part in self.phone.browser.find_all("#verdict ul.saves button")]

    def save(self, label, name):
        """Confirms everything and saves what the button with this beginning gives; its bytes."""
        for box in self.phone.browser.find_all("#verdict .cautions input:not(:checked)"):
            self.phone.click(box)
        self.phone.click(next(part for part in self.phone.browser.find_all("#verdict ul.saves button") if part.text.startswith(label)))
        return self.phone.browser.saved_file(name)

    def save_customer(self, name):
        return self.desk.put(name, self.save("Save your customer file", "me.customer"))

    def listed(self):
        return {part.get_attribute("data-kind"): part.text for part in self.phone.browser.find_all("#given > li")}

    def look(self, name):
        self.phone.picture(name)
        self.assertLessEqual(self.phone.browser.overflow(), 0, name)
        self.assertEqual(self.phone.browser.complaints(), [], name)
        self.assertEqual(self.phone.browser.violations(), [], name)

    def proof(self):
        return self.phone.browser.find("#verdict").get_attribute("textContent")

    def test_salt_and_state_are_given_once(self):
        self.assertEqual(self.judge(2, *self.reads, self.customer), ("refused", "vehicle-not-provable"))
        self.assertEqual(self.judge(2, *self.reads, self.customer, self.desk.salt()), ("accepted", None))
        self.assertIn("your customer file", self.listed()["customer"])
        self.assertIn("salt is kept in your customer file", self.phone.browser.text("#verdict"))
        self.assertEqual([label for label in self.buttons() if "state" in label], [], "the state is in the customer file")
        self.look("customer-accepted")
        kept = self.save_customer("after-2.customer")
        receipt = self.desk.put("r2.receipt", self.save("Save the receipt", "engine-revision-2.receipt"))
        was, now = inside(self.customer), inside(kept)
        self.assertEqual(now["salts"], [{"job": "oak-17", "salt": pathlib.Path(self.desk.salt()).read_text().strip()}])
        self.assertEqual((now["seed"], now["number"], now["receipts"]), (was["seed"], 1, [pathlib.Path(receipt).read_text()]))
        self.assertIn('"calseal":"state/1"', now["state"])

        # Another day: with nothing but this file beside bundle and read.
        self.assertEqual(self.judge(1, *self.reads, kept), ("refused", "sequence-old"))
        self.assertEqual(self.buttons(), [], "before the contents nothing is noted")
        self.assertEqual(self.judge(3, *self.reads, kept), ("accepted", None))
        self.assertIn("with the salt of this job", self.listed()["customer"])
        self.assertIn("proved: its own fields", self.proof())
        later = self.save_customer("after-3.customer")
        self.assertEqual(outcomes(later), ["accepted", "accepted"])
        # What was saved counts from now on, without being chosen again.
        self.phone.click("#given [data-kind=bundle] .remove")
        self.phone.browser.find("#files").send_keys(self.desk.bundle(2))
        self.phone.browser.until(lambda: self.phone.browser.find_all("#bundle-says .verdict"), "a look at the seal")
        self.assertEqual(self.check(), ("refused", "sequence-old"))
        self.program_goes_on_with(later)
        self.shop_takes(receipt)

    def program_goes_on_with(self, customer):
        said = self.desk.json(CALSEAL_CHECK, self.desk.bundle(2), *self.desk.trusting(), "--customer", customer, "--read-is-fresh", "--read",
                              "flash=" + self.reads[0], "--read", "eeprom=" + self.reads[1], status=1)
        self.assertEqual((said["reason"], said["receipt"]["key_fingerprint"]), ("sequence-old", ""))

    def shop_takes(self, receipt):
        append = ["append", "received", self.desk.bundle(2), *self.desk.trusting(), "--receipt", receipt, "--fingerprint", self.fingerprint]
        self.assertEqual([one["kind"] for one in self.desk.ledgers(*append)["entries"]], ["sealed", "received"])
        self.assertEqual(self.desk.ledgers("verify", *self.desk.trusting())["findings"], [])

    def test_a_refusal_is_noted_too(self):
        stranger = self.desk.put("stranger.bin", desks.edited(self.desk.eeprom, 0x23, b"X"))
        self.assertEqual(self.judge(1, self.reads[0], stranger, self.customer, self.desk.salt()), ("refused", "vehicle-mismatch"))
        self.assertEqual([label.split(" engine")[0] for label in self.buttons()], ["Save your customer file", "Save the receipt"])
        self.look("customer-refused")
        kept = self.save_customer("refused.customer")
        self.assertEqual((outcomes(kept), len(inside(kept)["salts"])), (["refused"], 1))

    def test_one_that_is_damaged_is_said_and_not_used(self):
        bad = self.desk.put("bad.customer", pathlib.Path(self.customer).read_bytes().replace(b'"number":1', b'"number":2'))
        self.assertEqual(self.judge(1, *self.reads, bad, self.desk.salt()), ("accepted", None))
        self.assertIn("damaged", self.listed()["customer"])
        self.assertEqual(self.phone.browser.find("#given [data-kind=customer]").get_attribute("data-reason"), "customer-file-invalid")
        self.assertEqual([label for label in self.buttons() if "customer" in label], [])
        self.look("customer-damaged")
        self.phone.click("#given [data-kind=customer] .remove")
        self.assertNotIn("customer", self.listed())

    def test_both_views_go_on_from_one_file(self):
        """No number and no state comes back by going from one view to the other in one window."""
        phone = self.phone
        phone.begin_parcel(self.customer)
        phone.browser.give("#pcl-add-logs", self.desk.put("drive.csv", b"Time (s),rpm\n0.0,850\n0.1,851\n"))
        _, second, fingerprint = phone.make(2)
        self.assertEqual(fingerprint, self.fingerprint)
        self.assertNotIn("new", phone.browser.text("#pcl-ready-title").lower())
        phone.browser.driver.execute_script("location.hash = ''")
        phone.browser.until(lambda: phone.browser.find("#form").is_displayed(), "the checks")
        self.assertIn("your customer file", self.listed()["customer"])
        phone.click("#fresh")
        phone.browser.find("#files").send_keys("\n".join([self.desk.bundle(1), *self.reads, self.desk.salt()]))
        phone.browser.until(lambda: phone.browser.find_all("#bundle-says .verdict"), "a look at the seal")
        self.assertEqual(self.check(), ("accepted", None))
        checked = inside(self.save_customer("checked.customer"))
        self.assertEqual((checked["number"], len(checked["receipts"])), (inside(second)["number"], 1))
        phone.click("#pcl-open")
        phone.browser.until(lambda: "has your customer file already. Parcels made so far: 2" in phone.browser.text("#pcl-customer-says"), "the file is known")
        phone.browser.find("#pcl-words").send_keys("One thing more.")
        _, third, _ = phone.make(3)
        self.assertEqual(inside(third), checked | {"number": 3})

    def test_a_state_file_beside_it_counts_instead(self):
        self.assertEqual(self.judge(2, *self.reads, self.customer, self.desk.salt(), self.desk.put("own.state", b"")), ("accepted", None))
        self.assertEqual([label for label in self.buttons() if "new state" in label], ["Save the new state, after the image"])
        self.assertEqual(inside(self.save_customer("beside.customer"))["state"], "")


if __name__ == "__main__":
    unittest.main()
