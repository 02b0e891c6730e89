#!/usr/bin/env python3
"""To the end of the job, in Debian's Chromium: what the page says of the files to save, and whether the controller holds the
revision after the write. The bundles come from write_looks.mjs.

CALSEAL_PICTURES=FOLDER keeps pictures.
"""

import unittest

import page_looks_test as looks
from page_looks_test import Customer, DESKTOP, PHONE


class After(looks.Verdicts):
    def read_back(self, customer, *names):
        while customer.browser.find_all("#given-back .remove"):
            customer.browser.find("#given-back .remove").click()
        customer.browser.find("#read-back").send_keys("\n".join(str(self.folder / name) for name in names))
        customer.browser.until(lambda: customer.browser.find("#given-back").get_attribute("aria-busy") == "false", "files taken in")

    def confirm(self, customer):
        """Presses the button; gives the reason, or the class of the card."""
        customer.browser.find("#confirm").click()
        customer.browser.until(lambda: customer.browser.find_all("#confirmation .verdict"), "a confirmation")
        card = customer.browser.find("#confirmation .verdict")
        return card.get_attribute("data-reason") or card.get_attribute("class").split()[1]

    def test_what_to_save_is_named_with_size_and_check_phrase(self):
        with Customer(self.folder, PHONE) as customer:
            self.assertEqual(customer.verdict(), "accepted")
            self.assertEqual([part.text for part in customer.browser.find_all("#verdict .saves > li")],
                             ["Save flash as my-flash-revision-1.bin\n256 bytes. Write exactly this file."])
            self.assertRegex(customer.browser.text("#verdict .fingerprint"), r"^M( \d{4}){13}$")
            customer.open_all()
            codes = [part.text for part in customer.browser.find_all("#verdict .fingerprint")]
            self.assertRegex(codes[-1], r"^Q( \d{4}){5}$")
            self.assertIn("nv stays as it is", customer.browser.text("#verdict .stays"))

    def test_the_usual_cautions_stand_where_a_person_is_about_to_act(self):
        with Customer(self.folder, PHONE) as customer:
            self.assertEqual(customer.verdict(), "accepted")
            for usual, act in (("#verdict .usual", "#verdict .saves button"), ("#after .usual", "#after #read-back")):
                items = [part.text for part in customer.browser.find_all(f"{usual} > li")]
                self.assertGreaterEqual(len(items), 4)
                self.assertEqual([text for text in items if not 10 < len(text) <= 120], [], "shown, and short")
                self.assertTrue(customer.script("""
                    const [usual, act] = [...arguments].map((one) => document.querySelector(one));
                    return (usual.compareDocumentPosition(act) & Node.DOCUMENT_POSITION_FOLLOWING) !== 0 && usual.closest("details") === null;""", usual, act))
            self.assertIn("the way back", customer.browser.text("#verdict .usual"))
            self.assertIn("Do not drive before", customer.browser.text("#after .usual"))

    def test_of_a_set_the_order_is_said(self):
        with Customer(self.folder, PHONE, trust="set") as customer:
            customer.give("set-gearbox.calseal", "set-engine.calseal", "set-flash.bin")
            customer.browser.find("#vehicle").send_keys("blue estate")
            self.assertEqual(customer.check(), "accepted")
            order = customer.browser.text("#verdict .order")
            self.assertRegex(order, r"in this order: [a-z]+, then [a-z]+\. This file is for [a-z]+\.")
            self.assertRegex(order, r"In between the vehicle (must not|may) be driven")
            self.look(customer, "set")

    def test_the_way_to_the_end_is_one_page(self):
        with Customer(self.folder, PHONE) as customer:
            self.assertFalse(customer.browser.find("#after").is_displayed())
            self.assertEqual(customer.verdict(), "accepted")
            link = customer.browser.find("#verdict button.plain")
            self.assertEqual(link.text, "Read back and confirm")
            link.click()
            self.assertEqual(customer.script("return document.activeElement.id"), "after-title")
            self.assertEqual(self.text_of(customer, "#missing-back"), "")
            self.read_back(customer, "after-flash.bin")
            self.assertIn("the read of nv", self.text_of(customer, "#missing-back"))
            self.read_back(customer, "after-flash.bin", "after-nv.bin")
            self.assertIn("You can confirm now", self.text_of(customer, "#missing-back"))
            self.assertEqual(self.confirm(customer), "accepted")
            self.assertEqual(customer.script("return document.activeElement.id"), "confirmation-title")
            text = customer.browser.text("#confirmation")
            self.assertIn("Confirmed", text)
            self.assertIn("byte for byte", text)
            self.assertIn("(bytes)", text)
            self.look(customer, "confirmed")
            customer.open_all()
            self.assertIn("compared with the read of the check above too", customer.browser.text("#confirmation"))
            self.look(customer, "confirmed-open")

    READ_BACKS = [("my-", "confirm-old"), ("half-", "confirm-partial"), ("other-car-", "vehicle-mismatch"), ("after-", "accepted")]

    def test_each_read_back_gets_its_answer_without_a_check_too(self):
        with Customer(self.folder, PHONE) as customer:
            customer.bundle("r1.calseal")
            customer.give("shop.salt")
            for start, expected in self.READ_BACKS:
                self.read_back(customer, f"{start}flash.bin", f"{start}nv.bin")
                # Without the read from before a half-written region is neither of the two.
                self.assertEqual(self.confirm(customer), "confirm-differs" if start == "half-" else expected, start)
                self.look(customer, f"confirm-{expected}")
            self.read_back(customer, "after-flash.bin", "r1.calseal")
            self.assertIn("not a read", customer.browser.text("#given-back"))
            self.assertEqual(self.confirm(customer), "read-incomplete")

    def test_the_read_from_before_tells_how_far_a_write_came(self):
        with Customer(self.folder, DESKTOP) as customer:
            self.assertEqual(customer.verdict(), "accepted")
            for start, expected in self.READ_BACKS:
                self.read_back(customer, f"{start}flash.bin", f"{start}nv.bin")
                self.assertEqual(self.confirm(customer), expected, start)

    def test_a_scan_proves_less_and_says_so(self):
        with Customer(self.folder, PHONE) as customer:
            customer.bundle("r1.calseal")
            customer.script("document.getElementById('scan').open = true")
            fields = {part.text: part.get_attribute("for") for part in customer.browser.find_all("#scan-fields label")}
            self.assertEqual(sorted(fields), ["board", "cvn", "software", "vin"])
            customer.browser.find(f"#{fields['board']}").send_keys("1234")
            self.assertEqual(self.confirm(customer), "accepted")
            self.assertIn("(identity)", customer.browser.text("#confirmation"))
            self.assertIn("does not show that the revision was written", customer.browser.text("#confirmation"))
            self.look(customer, "scan")
            customer.browser.find(f"#{fields['cvn']}").send_keys("00000000")
            self.assertEqual(customer.browser.find_all("#confirmation .verdict"), [], "what was confirmed is not so any more")
            self.assertEqual(self.confirm(customer), "scan-mismatch")

    def test_another_file_takes_the_answer_back(self):
        with Customer(self.folder, DESKTOP) as customer:
            self.assertEqual(customer.verdict(), "accepted")
            self.read_back(customer, "after-flash.bin", "after-nv.bin")
            self.assertEqual(self.confirm(customer), "accepted")
            customer.give("r0.calseal")
            self.assertEqual(customer.browser.find_all("#confirmation .verdict"), [])

    def text_of(self, customer, selector):
        return customer.script("return document.querySelector(arguments[0]).textContent", selector)


if __name__ == "__main__":
    unittest.main()
