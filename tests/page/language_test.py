#!/usr/bin/env python3
"""The page in English and German, in Debian's Chromium: the language follows the browser, a visible switch changes it and loses
nothing, no English is left in German, and German has room at 360 pixels and with letters of twice the size.

CALSEAL_PICTURES=FOLDER keeps pictures.
"""

import unittest

import page_looks_test as looks
from english import english_left
from page_looks_test import Customer, DESKTOP, PHONE

GERMAN = {"flags": ("--accept-lang=de-DE,de",)}


class Language(looks.Verdicts):
    def switch(self, customer, code):
        customer.browser.find(f"[data-language={code}]").click()

    def pressed(self, customer):
        return customer.script("return [...document.querySelectorAll('#languages [aria-pressed=true]')].map((one) => one.dataset.language)")

    def read_back(self, customer, start):
        customer.browser.find("#read-back").send_keys("\n".join(str(self.folder / f"{start}{name}.bin") for name in ("flash", "nv")))
        customer.browser.until(lambda: customer.browser.find("#given-back").get_attribute("aria-busy") == "false", "files taken in")
        customer.browser.find("#confirm").click()
        customer.browser.until(lambda: customer.browser.find_all("#confirmation .verdict"), "a confirmation")

    def test_the_language_follows_the_browser(self):
        for flags, code, title in ((("--accept-lang=de-AT,en",), "de", "Revision prüfen: Example Shop"), (("--accept-lang=fr,en",), "en", "Check a revision: Example Shop")):
            with self.subTest(code), Customer(self.folder, PHONE, flags=flags) as customer:
                self.assertEqual(customer.script("return document.documentElement.lang"), code)
                self.assertEqual(customer.script("return document.title"), title)
                self.assertEqual(self.pressed(customer), [code])
                self.assertTrue(customer.browser.find("#languages").is_displayed())

    def test_the_switch_changes_every_word_and_loses_nothing(self):
        with Customer(self.folder, DESKTOP) as customer:
            self.assertEqual(customer.verdict(), "accepted")
            self.read_back(customer, "after-")
            customer.script("[...document.querySelectorAll('#verdict .cautions input')].slice(0, 2).forEach((box) => box.click())")
            customer.script("document.querySelector('#verdict details').open = true")
            seen = "return [document.querySelectorAll('#verdict input:checked').length, document.querySelectorAll('#verdict details[open]').length, document.querySelectorAll('#given li').length]"
            before = customer.script(seen)
            self.assertEqual(before[:2], [2, 1])
            english = customer.browser.text("main")
            self.switch(customer, "de")
            self.assertEqual(customer.script(seen), before)
            self.assertEqual(self.pressed(customer), ["de"])
            self.assertIn("Angenommen", customer.browser.text("#verdict"))
            self.assertIn("Bestätigt", customer.browser.text("#confirmation"))
            self.assertIn("Byte für Byte", customer.browser.text("#confirmation"))
            self.assertIn("Launch control", customer.browser.text("#verdict"), "what the shop wrote stays")
            self.switch(customer, "en")
            self.assertEqual(customer.browser.text("main"), english)

    def test_no_english_is_left_in_german(self):
        with Customer(self.folder, DESKTOP, **GERMAN) as customer:
            customer.browser.find("#stated-root").send_keys("K 1")
            self.assertIn("Gruppen sind bisher wie oben", customer.browser.text("#stated-root-says"))
            customer.browser.find("#stated-root").send_keys("111")
            self.assertIn("Gruppe 1 passt nicht zur Prüfziffer", customer.browser.text("#stated-root-says"))
            self.switch(customer, "en")
            self.assertIn("Group 1 does not fit", customer.browser.text("#stated-root-says"))
            self.switch(customer, "de")
            customer.browser.find("#stated-root").clear()
            for bundle, start in (("r1.calseal", "my-"), ("r0.calseal", "after-"), ("r1.calseal", "after-"), ("r1.calseal", "other-car-"), ("damaged.calseal", None)):
                customer.bundle(bundle)
                if start:
                    customer.read(start)
                    customer.check()
                    self.read_back(customer, "half-")
                customer.open_all()
                self.assertEqual(english_left(customer.browser), [], f"{bundle} {start}")
                self.assertEqual(customer.script("return [...document.querySelectorAll('[aria-label]')].map((one) => one.ariaLabel).filter((text) => /^(Remove|Check|Memory)/.test(text))"), [])
            customer.script("location.hash = '#send'")
            customer.browser.until(lambda: customer.browser.find("#pcl").is_displayed(), "the other view")
            self.assertEqual(customer.script("return document.title"), "An Example Shop senden")
            self.assertEqual(english_left(customer.browser), [])
            self.switch(customer, "en")
            self.assertEqual(customer.script("return document.title"), "Send to Example Shop")
            self.assertGreater(len(english_left(customer.browser)), 20, "this test notices English")

    def test_german_has_room_with_large_letters(self):
        with Customer(self.folder, PHONE, **GERMAN) as customer:
            customer.browser.command("Page.setFontSizes", fontSizes={"standard": 32, "fixed": 26})
            self.look(customer, "de-begin")
            for start, outcome in (("my-", "accepted"), ("other-car-", "refused")):
                customer.bundle("r1.calseal")
                customer.read(start)
                self.assertEqual(customer.check(), outcome)
                self.read_back(customer, "half-" if outcome == "accepted" else "other-car-")
                customer.open_all()
                self.look(customer, f"de-{outcome}")
            customer.script("location.hash = '#send'")
            customer.browser.until(lambda: customer.browser.find("#pcl").is_displayed(), "the other view")
            self.look(customer, "de-send")


class GermanFirstScreen(looks.FirstScreen):
    BROWSER = GERMAN
    WANTED = ["Was jetzt zu tun ist", "Example Shop"]
    OUTCOMES = r"^[✓✕]\n?\s*(Angenommen|Abgelehnt)\n"


if __name__ == "__main__":
    unittest.main()
