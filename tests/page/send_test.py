#!/usr/bin/env python3
"""The view "Send to the shop" as a customer uses it, in Debian's Chromium: the page that calseal writes takes a sheet, reads, a log and an
order, and saves a parcel and a customer file; the page's reader in Node reads them back and compares. Every state is looked at by
axe-core, on a phone and wide, light and dark, and with texts twice as large.

CALSEAL_PICTURES=FOLDER keeps pictures.
"""

import base64
import hashlib
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest
import zipfile

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / folder) for folder in ("cli/e2e", "browser")]

from browser_cases_test import node
from chromium import Chromium
from english import english_left
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

HERE = pathlib.Path(__file__).resolve().parent
PICTURES = os.environ.get("CALSEAL_PICTURES")
PHONE, DESKTOP = (360, 740), (1200, 900)
CAUTIONS = ["A changed calibration can end warranty, type approval and insurance.", "Shifts are felt.", "The fan draws 20 A; its fuse must stand that."]
NOTHING = "✓ Nothing about this read looks wrong."


class SendToTheShop(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory(prefix="calseal-send-")
        cls.home = pathlib.Path(cls.folder.name)
        subprocess.run([node(), str(HERE / "parcel_shop.mjs"), str(cls.home)], check=True, stdout=subprocess.DEVNULL)
        cls.write_page("with.html", "shop.sheet")
        cls.write_page("without.html", None)
        cls.browser = Chromium(*PHONE)

    @classmethod
    def tearDownClass(cls):
        cls.browser.__exit__()
        cls.folder.cleanup()

    def tearDown(self):
        self.assertEqual(self.browser.complaints(), [])

    @classmethod
    def write_page(cls, name, sheet):
        arguments = [] if sheet is None else ["--sheet", str(cls.home / sheet)]
        subprocess.run([os.environ["CALSEAL"], "customer-page", "--trust", str(cls.home / "shop.trust"), *arguments, "-o", str(cls.home / name)],
                       check=True, stdout=subprocess.DEVNULL)

    # What a person does.

    def begin(self, name="with.html", browser=None):
        browser = browser or self.browser
        browser.driver.get("about:blank")
        browser.open(self.home / name)
        browser.until(lambda: browser.find("#form").is_displayed(), "the first view")
        browser.find("#pcl-open").click()
        browser.until(lambda: browser.find("#pcl").is_displayed(), "the view")
        if name == "with.html":
            browser.until(lambda: "Sheet 4" in browser.text("#pcl"), "the sheet")
        return browser

    def at(self, *names):
        return [self.home / name for name in names]

    def click(self, element, browser=None):
        browser = browser or self.browser
        element = browser.find(element) if isinstance(element, str) else element
        browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()

    def add_reads(self, *names, browser=None):
        browser = browser or self.browser
        before = len(browser.find_all(".pcl-card select"))
        browser.give("#pcl-add-reads", *self.at(*names))
        browser.until(lambda: len(self.said(browser)) == before + len(names) and not any("…" in text for text in self.said(browser)), "what the page sees")

    def said(self, browser=None):
        return [part.text for part in (browser or self.browser).find_all(".pcl-card-says")]

    def make(self, browser=None):
        browser = browser or self.browser
        self.click("#pcl-make", browser)
        browser.until(lambda: browser.find_all("#pcl-fingerprint") or browser.find(".pcl-problems").is_displayed(), "an end")
        return bool(browser.find_all("#pcl-fingerprint"))

    def accept_all(self, browser=None):
        browser = browser or self.browser
        for box in browser.find_all("[id^=pcl-caution-]"):
            if box.is_displayed() and not box.is_selected():
                self.click(box, browser)

    def save(self, number):
        parcel, customer = self.browser.find_all(".pcl-ready button")
        self.click(parcel)
        self.click(customer)
        return self.browser.saved_file(f"to-shop-{number}.parcel"), self.browser.saved_file("me.customer")

    def read_back(self, parcel, customer, trust=None):
        """By the page's own reader, in Node."""
        for name, data in (("saved.parcel", parcel), ("saved.customer", customer)):
            (self.home / name).write_bytes(data)
        done = subprocess.run([node(), str(HERE / "read_parcel.mjs"), *map(str, [*self.at("saved.parcel", "saved.customer"), trust or self.home / "shop.trust"])], capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 0, done.stderr)
        return json.loads(done.stdout)

    # What must hold.

    def test_what_was_chosen_is_in_the_parcel(self):
        self.begin()
        self.add_reads("engine.bin", "eeprom.bin", "transmission.bin", "engine-again.bin")
        self.assertEqual(self.said(), [NOTHING] * 4)
        self.browser.give("#pcl-add-logs", *self.at("drive.csv"))
        for selector in ("#pcl-option-sport", "#pcl-answer-fuel"):
            self.click(selector)
        self.browser.find("#pcl-answer-mass").send_keys("1200")
        self.browser.find("#pcl-words").send_keys("It hesitates at 2,000.")
        self.browser.find("#pcl-vehicle").send_keys("blue estate")
        self.accept_all()
        self.assertTrue(self.make())
        self.assertEqual(self.browser.driver.switch_to.active_element.get_attribute("id"), "pcl-ready-title")
        fingerprint = self.browser.text("#pcl-fingerprint")
        shown = self.browser.text(".pcl-rows")
        files = self.save(1)
        read = self.read_back(*files)
        parcel = read["parcel"]
        self.assertEqual(read["fingerprint"], fingerprint)
        self.assertEqual(parcel["key"], read["customer_key"])
        self.assertEqual((parcel["number"], read["customer"]["number"]), (1, 1))
        self.assertEqual((parcel["order"], parcel["words"], parcel["vehicle_reference"], parcel["job"]), (["sport"], "It hesitates at 2,000.", "blue estate", ""))
        self.assertEqual(parcel["answers"], [{"question": "fuel", "answer": "e85"}, {"question": "mass", "answer": "1200"}])
        self.assertEqual(parcel["accepted"], ["A changed calibration can end warranty, type approval and insurance.", "Shifts are felt."])
        self.assertEqual(parcel["root"], read["root"])
        self.assertEqual(parcel["sheet"], read["sheet_digest"])
        self.assertEqual([(one["controller"], one["memory"], one["series"], one["file_name"]) for one in parcel["reads"]],
                         [("engine", "flash", 1, "engine.bin"), ("engine", "eeprom", 1, "eeprom.bin"), ("transmission", "flash", 1, "transmission.bin"),
                          ("engine", "flash", 2, "engine-again.bin")])
        self.assertEqual(parcel["findings"], [])
        self.assertEqual([base64.b64decode(text) for text in read["contents"]],
                         [path.read_bytes() for path in self.at("engine.bin", "eeprom.bin", "transmission.bin", "engine-again.bin", "drive.csv")])
        self.assertIn("deflated", [entry["method"] for entry in parcel["entries"]], "the browser's own deflate")
        for text in ("Walnut Calibration", "blue estate", "Firmer shifts", "drive.csv", "Open: whoever gets the file"):
            self.assertIn(text, shown)

    def test_the_customer_file_keeps_the_key_and_counts_on(self):
        self.begin("without.html")
        self.browser.find("#pcl-words").send_keys("One.")
        self.assertTrue(self.make())
        self.assertIn("does not know this key yet", self.browser.text(".pcl-ready"))
        first = self.read_back(*self.save(1))
        given = self.home / "me.customer"
        given.write_bytes((self.home / "saved.customer").read_bytes())
        self.begin("without.html")
        self.browser.give("#pcl-customer", given)
        self.browser.until(lambda: "Your key is in it" in self.browser.text("#pcl-customer-says"), "the key")
        self.browser.find("#pcl-words").send_keys("Two.")
        self.assertTrue(self.make())
        self.assertIn("knows this key if", self.browser.text(".pcl-ready"))
        self.browser.find("#pcl-words").send_keys(" Three.")
        self.assertFalse(self.browser.find(".pcl-ready").is_displayed(), "a parcel stands only while nothing has changed")
        self.assertTrue(self.make())
        third = self.read_back(*self.save(3))
        self.assertEqual(third["parcel"]["key"], first["parcel"]["key"])
        self.assertEqual((third["parcel"]["number"], third["parcel"]["words"], third["parcel"]["sheet"]), (3, "Two. Three.", ""))

    def test_a_read_that_went_wrong_is_told_at_once(self):
        self.begin()
        self.add_reads("cut.bin", "blank.bin", "engine.bin")
        cut, blank, engine = self.said()
        self.assertIn("This read is cut off: 700,001 bytes", cut)
        self.assertIn("Read the controller again while you are in the car.", cut)
        self.assertIn("Most of this read is blank.", blank)
        self.assertEqual(engine, NOTHING)
        # Said to be of the engine: now its size is the fault; and the list follows.
        select = self.browser.find_all(".pcl-card select")[0]
        self.click(next(option for option in select.find_elements("css selector", "option") if option.text.startswith("eeprom: Engine")))
        self.browser.until(lambda: "the shop expects 32,768 bytes" in self.said()[0], "the size")
        self.assertNotIn("cut off: 700,001", self.said()[0])
        self.assertIn("eeprom (32,768 bytes): chosen once", self.browser.text(".pcl-wanted"))
        self.add_reads("engine.bin")
        self.assertEqual(self.said()[3], NOTHING, "the same file as second read of one memory")
        select = self.browser.find_all(".pcl-card select")[3]
        self.click(next(option for option in select.find_elements("css selector", "option") if option.text.startswith("flash: Transmission")))
        self.browser.until(lambda: "the very same file as engine.bin" in self.said()[3], "that it is the same file")
        self.click(self.browser.find_all(".pcl-card button")[0])
        self.browser.until(lambda: len(self.said()) == 3, "one read less")
        self.assertEqual(self.browser.driver.switch_to.active_element.get_attribute("aria-label"), "Remove blank.bin")

    def test_what_is_missing_is_named_and_leads_there(self):
        self.begin()
        self.assertFalse(self.make())
        texts = [item.text for item in self.browser.find_all(".pcl-problems li")]
        self.assertEqual(len(texts), 1)
        self.assertIn("There is nothing to send yet", texts[0])
        self.click("#pcl-option-towing")
        self.assertFalse(self.make())
        self.assertEqual(len(self.browser.find_all(".pcl-problems li")), 2)
        self.click(self.browser.find_all(".pcl-problems button")[0])
        self.assertEqual(self.browser.driver.switch_to.active_element.get_attribute("id"), "pcl-answer-fuel")
        self.click("#pcl-option-sport")
        self.assertIn("This does not go with “Towing”, which you chose.", self.browser.text("#pcl"))
        self.click("#pcl-answer-fuel")
        self.assertIn("This does not go with “E85”, which you chose.", self.browser.text("#pcl"))
        self.assertFalse(self.make())
        self.assertIn("Accept the 2 cautions", self.browser.text(".pcl-problems"))
        self.accept_all()
        self.assertTrue(self.make())
        self.assertIn("flash: Engine controller", self.browser.text(".pcl-rows"), "what is wanted and missing")

    def test_a_sheet_with_a_key_closes_the_parcel(self):
        self.begin("without.html")
        self.browser.give("#pcl-sheet", *self.at("closed.sheet"))
        self.browser.until(lambda: "Sheet 5" in self.browser.text("#pcl"), "the sheet")
        self.browser.find("#pcl details summary").click()
        self.browser.give("#pcl-sheet", *self.at("old.sheet"))
        self.browser.until(lambda: "sheet 3" in self.browser.text("#pcl-sheet-says"), "that it is older")
        self.browser.find("#pcl-words").send_keys("Secret.")
        self.click("#pcl-answer-fuel")
        self.accept_all()
        self.assertTrue(self.make())
        self.assertIn("Closed: only this shop can open it", self.browser.text(".pcl-rows"))
        parcel, customer = self.save(1)
        self.assertTrue(parcel.startswith(b"calseal-parcel/1\n"))
        self.assertEqual(self.read_back(parcel, customer)["parcel"]["words"], "Secret.")

    def test_a_browser_that_cannot_close_says_so_and_asks(self):
        with Chromium(*PHONE) as browser:
            browser.command("Page.addScriptToEvaluateOnNewDocument", source="crypto.subtle.generateKey = () => Promise.reject(new DOMException('none', 'NotSupportedError'));")
            self.begin("without.html", browser)
            browser.give("#pcl-sheet", *self.at("closed.sheet"))
            browser.until(lambda: "too old to close a parcel" in browser.text("#pcl"), "the words")
            browser.find("#pcl-words").send_keys("x")
            self.click("#pcl-answer-fuel", browser)
            self.accept_all(browser)
            self.assertFalse(self.make(browser))
            self.click("#pcl-open-box", browser)
            self.assertTrue(self.make(browser))
            self.assertIn("Open: whoever gets the file", browser.text(".pcl-rows"))

    def test_files_that_are_none_are_not_used(self):
        self.begin("without.html")
        junk = self.at("drive.csv")
        for field, words in (("sheet", "another kind of file"), ("customer", "a new key is made"), ("bundle", "another kind of file")):
            self.browser.give(f"#pcl-{field}", *junk)
            self.browser.until(lambda f=field, w=words: w in self.browser.text(f"#pcl-{f}-says"), field)
        self.browser.find("#pcl-words").send_keys("x")
        self.assertTrue(self.make())

    def test_a_bundle_says_which_job_and_which_revision_was_driven(self):
        fixtures = HERE.parents[1] / "fixtures/bundles"
        subprocess.run([os.environ["CALSEAL"], "customer-page", "--trust", str(fixtures / "shop.trust"), "-o", str(self.home / "fixture.html")], check=True,
                       stdout=subprocess.DEVNULL)
        with zipfile.ZipFile(fixtures / "small-revision.calseal") as bundle:
            text = bundle.read("manifest.json")
        manifest = json.loads(text)
        self.begin("fixture.html")
        self.browser.give("#pcl-add-logs", *self.at("drive.csv"))
        self.browser.give("#pcl-bundle", fixtures / "small-revision.calseal")
        self.browser.until(lambda: f"Job {manifest['job']}, revision 1 of" in self.browser.text("#pcl-bundle-says"), "the job")
        self.assertEqual(self.browser.find("#pcl-vehicle").get_attribute("value"), manifest["vehicle_reference"])
        self.assertTrue(self.browser.find("#pcl-driven").is_selected())
        self.assertTrue(self.make())
        parcel = self.read_back(*self.save(1), trust=fixtures / "shop.trust")["parcel"]
        self.assertEqual((parcel["job"], parcel["vehicle_reference"]), (manifest["job"], manifest["vehicle_reference"]))
        self.assertEqual(parcel["logs"][0]["revision"], hashlib.sha256(text).hexdigest())
        self.click("#pcl-driven")
        self.assertTrue(self.make())
        self.assertEqual(self.read_back(*self.save(2), trust=fixtures / "shop.trust")["parcel"]["logs"][0]["revision"], "")

    def test_the_two_views_by_link_address_and_way_back(self):
        self.begin()
        self.assertFalse(self.browser.find("#form").is_displayed())
        self.assertEqual(self.browser.driver.title, "Send to Walnut Calibration")
        self.browser.driver.back()
        self.browser.until(lambda: self.browser.find("#form").is_displayed(), "the first view")
        self.assertFalse(self.browser.find("#pcl").is_displayed())
        self.assertEqual(self.browser.driver.switch_to.active_element.get_attribute("id"), "pcl-open")
        self.browser.driver.get((self.home / "with.html").as_uri() + "#send")
        self.browser.until(lambda: self.browser.find("#pcl").is_displayed(), "the view by its address")
        self.browser.find("#pcl-back").click()
        self.browser.until(lambda: self.browser.find("#form").is_displayed(), "the first view again")

    def test_all_of_it_by_keyboard(self):
        self.begin()
        seen = []
        press = lambda key: ActionChains(self.browser.driver).send_keys(key).perform()
        for _ in range(60):
            press(Keys.TAB)
            active = self.browser.driver.switch_to.active_element
            seen.append(active.get_attribute("id") or active.tag_name)
            if seen[-1] in ("pcl-option-towing", "pcl-answer-fuel") or seen[-1].startswith("pcl-caution-"):
                press(Keys.SPACE)
            if seen[-1] == "pcl-make":
                press(Keys.ENTER)
                break
        for wanted in ("pcl-add-reads", "pcl-add-logs", "pcl-option-sport", "pcl-words", "pcl-customer", "pcl-bundle", "pcl-make"):
            self.assertIn(wanted, seen)
        self.browser.until(lambda: self.browser.find_all("#pcl-fingerprint"), "the parcel")

    def test_nothing_is_kept(self):
        self.begin("without.html")
        self.browser.find("#pcl-words").send_keys("x")
        self.assertTrue(self.make())
        kept = self.browser.driver.execute_async_script(
            "const done = arguments[0]; (async () => [localStorage.length, sessionStorage.length, document.cookie, (await indexedDB.databases()).length])().then(done);")
        self.assertEqual(kept, [0, 0, "", 0])

    def test_in_german_too_and_the_switch_loses_nothing(self):
        shops = re.findall(r'"(?:title|purpose|text)":"([^"]+)"', (self.home / "shop.sheet").read_text()) + CAUTIONS

        with Chromium(*PHONE, flags=["--accept-lang=de"]) as browser:
            browser.open(self.home / "with.html")
            browser.until(lambda: browser.find("#form").is_displayed(), "the first view")
            browser.find("#pcl-open").click()
            browser.until(lambda: "Angebotsblatt 4" in browser.text("#pcl"), "the sheet")
            self.add_reads("engine.bin", "cut.bin", "blank.bin", browser=browser)
            self.click("#pcl-option-towing", browser)
            browser.give("#pcl-customer", *self.at("drive.csv"))
            browser.give("#pcl-add-logs", *self.at("drive.csv"))
            self.assertFalse(self.make(browser))
            self.assertEqual(english_left(browser, shops), [])
            browser.driver.execute_script("document.documentElement.style.fontSize = '200%'")
            self.look(browser, "send-de-problems")
            self.click("#pcl-answer-fuel", browser)
            self.accept_all(browser)
            self.assertTrue(self.make(browser))
            self.assertEqual(english_left(browser, [*shops, "to-shop"]), [])
            self.look(browser, "send-de-ready")
            german = browser.text("#pcl")
            self.click("[data-language=en]", browser)
            self.assertIn("Your parcel is ready", browser.text(".pcl-ready"))
            self.assertTrue(browser.find("#pcl-option-towing").is_selected())
            self.assertIn("This read is cut off", browser.text("#pcl"))
            self.click("[data-language=de]", browser)
            self.assertEqual(browser.text("#pcl"), german)

    def test_every_state_is_accessible_on_a_phone_and_wide(self):
        for size, dark, zoom in ((PHONE, False, 1), (DESKTOP, False, 1), (PHONE, True, 1), (PHONE, False, 2)):
            with self.subTest(size=size, dark=dark, zoom=zoom), Chromium(*size, dark=dark) as browser:
                name = f"send-{size[0]}{'-dark' if dark else ''}{'-large' if zoom == 2 else ''}"
                self.begin(browser=browser)
                if zoom == 2:
                    browser.driver.execute_script("document.documentElement.style.fontSize = '200%'")
                self.look(browser, f"{name}-begin")
                self.add_reads("engine.bin", "cut.bin", "eeprom.bin", browser=browser)
                browser.give("#pcl-add-logs", *self.at("drive.csv"))
                for option in ("second-fan", "sport", "towing"):
                    self.click(f"#pcl-option-{option}", browser)
                browser.give("#pcl-customer", *self.at("drive.csv"))
                self.assertFalse(self.make(browser))
                self.look(browser, f"{name}-problems")
                self.click("#pcl-answer-fuel", browser)
                self.accept_all(browser)
                self.assertTrue(self.make(browser))
                self.look(browser, f"{name}-ready")

    def look(self, browser, name):
        if PICTURES:
            browser.picture(f"{PICTURES}/{name}.png")
        self.assertEqual(browser.violations(), [], name)
        self.assertLessEqual(browser.overflow(), 0, name)
        self.assertEqual(browser.complaints(), [], name)


if __name__ == "__main__":
    unittest.main()
