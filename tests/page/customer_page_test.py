#!/usr/bin/env python3
"""The customer's page as a customer uses it: Debian's Chromium opens check.html from disk, takes bundle and read, tells verdict
and reason, and saves the image that the C++ checker writes too. Every state of it is looked at by axe-core, narrow and wide,
light and dark.

CALSEAL_PICTURES=FOLDER keeps pictures.
"""

import functools
import hashlib
import http.server
import json
import os
import pathlib
import sys
import threading
import unittest
import zipfile

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / folder) for folder in ("cli/e2e", "browser")]

import chromium
from chromium import Chromium
from demo_desk import DemoDesk, MAPS
from desk import CALSEAL, CALSEAL_CHECK

PICTURES = os.environ.get("CALSEAL_PICTURES")
PHONE, DESKTOP = 360, 1280
OTHER_ROOT = "K 0006 0001 0007 0002 0008 0003 0009 0004 0000 0005 0006 0001 0007"


class QuietHandler(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


class CustomerPage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = DemoDesk()
        cls.desk.quicken("author.key")
        cls.desk.seal_engine()
        cls.desk.seal_transmission()
        made = cls.desk.json(CALSEAL, "customer-page", "--trust", cls.desk.at("shop.trust"), "-o", cls.desk.at("check.html"))
        cls.root = made["root_fingerprint"]
        cls.page = cls.desk.at("check.html")
        cls.browser = Chromium(DESKTOP)

    @classmethod
    def tearDownClass(cls):
        cls.browser.__exit__()
        cls.desk.close()

    def tearDown(self):
        self.assertEqual(self.browser.complaints(), [])

    # What a person does.

    def begin(self, browser=None):
        browser = browser or self.browser
        browser.open(self.page)
        browser.until(lambda: browser.find("#form").is_displayed(), "the form")
        return browser

    def give(self, *paths, browser=None):
        """Files into the one picker, beside those that are there."""
        browser = browser or self.browser
        browser.find("#files").send_keys("\n".join(str(path) for path in paths))
        browser.until(lambda: browser.find("#given").get_attribute("aria-busy") == "false", "files taken in")

    def take_away(self, *kinds, browser=None):
        browser = browser or self.browser
        for kind in kinds:
            while browser.find_all(f"#given [data-kind={kind}]"):
                browser.driver.execute_script("arguments[0].click()", browser.find(f"#given [data-kind={kind}] .remove"))

    def choose_bundle(self, path, browser=None):
        browser = browser or self.browser
        self.give(path, browser=browser)
        browser.until(lambda: browser.find_all("#bundle-says .verdict"), "what the seal says")

    def check(self, browser=None):
        """Presses the button; gives the outcome and the reason code."""
        browser = browser or self.browser
        browser.find("#check").click()
        browser.until(lambda: browser.find_all("#verdict h2"), "a verdict")
        self.assertEqual(browser.driver.switch_to.active_element.get_attribute("id"), "verdict-title")
        card = browser.find("#verdict > div")
        kind = next(name for name in card.get_attribute("class").split() if name != "verdict")
        return kind, card.get_attribute("data-reason") or None

    def all_text(self, selector, browser=None):
        """What stands there, folded or not."""
        return (browser or self.browser).find(selector).get_attribute("textContent")

    def engine(self, flash="engine-a-flash.bin", eeprom="engine-a-eeprom.bin", bundle="r1", salt="oak.salt"):
        self.begin()
        self.choose_bundle(self.desk.at(bundle + ".calseal"))
        self.give(self.desk.data(flash), self.desk.data(eeprom), *([self.desk.at(salt)] if salt else []))

    def confirm_all(self, browser=None):
        browser = browser or self.browser
        for box in browser.find_all(".cautions input"):
            browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)
            box.click()

    def save_all(self, browser=None):
        browser = browser or self.browser
        for button in browser.find_all("#verdict ul.plain button"):
            browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
            button.click()

    def by_checker(self, *arguments, status=0):
        """What the C++ checker says and writes to the same question."""
        self.desk.clear_out()
        return self.desk.json(CALSEAL_CHECK, *arguments, status=status)

    # What must hold.

    def test_an_image_is_rebuilt_as_the_other_checker_rebuilds_it(self):
        self.engine(flash="engine-a-later-flash.bin", eeprom="engine-a-later-eeprom.bin")
        said = self.by_checker(*self.desk.evidence("r1"), *self.desk.engine_read("engine-a-later-flash.bin", "engine-a-later-eeprom.bin"),
                               "--image", f"flash={self.desk.out}/f", "--image", f"eeprom={self.desk.out}/e")
        self.assertEqual(said["verdict"], "accepted")
        self.assertEqual(self.check(), ("accepted", None))
        text = self.all_text("#verdict")
        self.assertIn("proved: its own fields", text)
        self.assertIn(said["bundle"]["job"], text)
        buttons = self.browser.find_all("#verdict ul.plain button")
        self.assertFalse(any(button.is_enabled() for button in buttons))
        boxes = self.browser.find_all("#verdict .cautions input")
        codes = [box.get_attribute("data-caution") for box in boxes]
        self.assertEqual(codes[:-1], [caution["code"] for caution in said["cautions"]])
        boxes[0].click()
        self.assertFalse(any(button.is_enabled() for button in buttons), "one caution is not all of them")
        boxes[0].click()
        self.confirm_all()
        self.assertTrue(all(button.is_enabled() for button in buttons))
        self.save_all()
        self.assertEqual(self.browser.saved_file("engine-a-later-flash-revision-1.bin"), self.desk.written()["f"])
        self.assertEqual(self.desk.written()["e"], self.desk.bytes_of("engine-a-later-eeprom.bin"), "nothing changes in it")
        self.assertIn("Memory eeprom stays as it is", self.browser.text("#verdict .stays"))

    def test_records_come_back_as_records(self):
        self.begin()
        self.choose_bundle(self.desk.at("t1.calseal"))
        self.give(self.desk.data("transmission-a.s19"), self.desk.at("oak.salt"))
        self.assertEqual(self.check(), ("refused", "read-not-fresh"))
        self.browser.find("#fresh").click()
        self.assertEqual(self.browser.find_all("#verdict h2"), [], "a verdict stands only while nothing has changed")
        self.assertEqual(self.check(), ("accepted", None))
        self.confirm_all()
        self.save_all()
        self.by_checker(*self.desk.evidence("t1"), "--read", self.desk.data("transmission-a.s19"), "--read-is-fresh", "--image", f"{self.desk.out}/t")
        self.assertEqual(self.browser.saved_file("transmission-a-revision-1.s19"), self.desk.written()["t"])

    def test_what_does_not_fit_has_the_reason_of_the_other_checker(self):
        rows = [
            (dict(eeprom="engine-b-eeprom.bin"), "vehicle-mismatch"),
            (dict(flash="engine-a-updated-flash.bin"), "read-foreign"),
            (dict(flash="engine-bad-locked-flash.bin"), "read-foreign"),
            (dict(flash="engine-bad-patch-flash.bin"), "change-patch"),
            (dict(salt=None), "vehicle-not-provable"),
        ]
        for given, reason in rows:
            with self.subTest(reason=reason, **{k: str(v) for k, v in given.items()}):
                self.engine(**given)
                files = {key: value for key, value in given.items() if key in ("flash", "eeprom")}
                evidence = self.desk.evidence("r1")[:3] if "salt" in given else self.desk.evidence("r1")
                said = self.by_checker(*evidence, *self.desk.engine_read(**files), status=1)
                self.assertEqual(said["reason"], reason)
                self.assertEqual(self.check(), ("refused", reason))
                self.assertEqual(self.browser.find_all("#verdict ul.plain button"), [])

    def test_a_cut_read_has_the_reason_of_the_other_checker(self):
        cut = self.desk.put("cut.bin", self.desk.bytes_of("engine-a-flash.bin")[:1000000])
        self.begin()
        self.choose_bundle(self.desk.at("r1.calseal"))
        self.give(cut, self.desk.data("engine-a-eeprom.bin"), self.desk.at("oak.salt"))
        said = self.by_checker(*self.desk.evidence("r1"), "--read", cut, "--read", self.desk.data("engine-a-eeprom.bin"), status=1)
        self.assertEqual(self.check(), ("refused", said["reason"]))

    def test_a_damaged_bundle_is_refused_before_a_read_is_asked_for(self):
        data = bytearray(pathlib.Path(self.desk.at("r1.calseal")).read_bytes())
        data[len(data) // 2] ^= 1
        bent = self.desk.put("bent.calseal", bytes(data))
        self.begin()
        self.choose_bundle(bent)
        self.assertIn("The shop's file is damaged", self.browser.text("#bundle-says"))
        said = self.by_checker(bent, "--trust", self.desk.at("shop.trust"), "--seal-only", status=1)
        self.assertEqual(said["reason"], self.browser.find("#bundle-says .refused").get_attribute("data-reason"))
        self.assertEqual(self.browser.text("#missing"), "")

    def test_the_way_back_without_a_read(self):
        self.begin()
        self.choose_bundle(self.desk.at("r0.calseal"))
        self.browser.find("form > details summary").click()
        self.browser.find("#revive").click()
        self.assertEqual(self.check(), ("refused", "vehicle-not-provable"))
        self.browser.find("#vehicle").send_keys("blue estate")
        self.assertEqual(self.check(), ("accepted", None))
        self.assertIn("on your word", self.all_text("#verdict"))
        self.confirm_all()
        self.save_all()
        self.assertEqual(self.browser.saved_file("engine-flash-revision-0.bin"), self.desk.bytes_of("engine-a-flash.bin"))
        self.assertEqual(self.browser.saved_file("engine-eeprom-revision-0.bin"), self.desk.bytes_of("engine-a-eeprom.bin"))

    def test_the_state_remembers_what_was_accepted(self):
        self.engine()
        self.browser.find("form > details summary").click()
        self.browser.find("#new-state").click()
        self.assertEqual(self.check(), ("accepted", None))
        self.confirm_all()
        self.save_all()
        state = self.browser.saved_file("checker.state")
        self.desk.seal_on("r0", "flash=" + self.desk.data("engine-r2-flash.bin"), "r2", "--parent", self.desk.at("r1.calseal"))
        given = self.desk.put("given.state", state)
        self.by_checker(*self.desk.evidence("r2"), *self.desk.engine_read(), "--state", given, "--image", f"flash={self.desk.out}/f",
                        "--image", f"eeprom={self.desk.out}/e")
        self.engine(bundle="r1")
        self.give(given)
        self.assertEqual(self.check(), ("refused", "sequence-old"))

    def test_wider_rules_are_told_before_everything_else(self):
        self.engine()
        self.browser.find("form > details summary").click()
        self.browser.find("#new-state").click()
        self.assertEqual(self.check(), ("accepted", None))
        self.assertEqual(self.browser.find_all("#verdict .rules"), [])
        self.confirm_all()
        self.save_all()
        state = self.browser.saved_file("checker.state")
        self.seal_wide()
        rows = [("r1", "narrow", self.narrowed(state), "refused", "rules-widened"), ("wide", "after-r1", state, "accepted", None)]
        for bundle, name, text, outcome, reason in rows:
            given = self.desk.put(name + ".state", text)
            said = self.by_checker(*self.desk.evidence(bundle), *self.desk.engine_read(), "--state", given, status=0 if reason is None else 1)
            self.assertEqual((said["verdict"], said["reason"]), (outcome, reason or ""))
            words = said["error"]["found"] if reason else said["cautions"][0]["text"]
            self.assertRegex(words, r"^the shop's rules now allow [0-9,]+ more bytes to change, ")
            self.desk.put(name + ".state", text)  # a look without an image may have taught it something
            for width, dark in ((390, False), (390, True), (DESKTOP, False)):
                with self.subTest(bundle=bundle, width=width, dark=dark), Chromium(width, dark=dark) as browser:
                    self.begin(browser)
                    self.choose_bundle(self.desk.at(bundle + ".calseal"), browser)
                    self.give(self.desk.data("engine-a-flash.bin"), self.desk.data("engine-a-eeprom.bin"), self.desk.at("oak.salt"), given, browser=browser)
                    self.assertEqual(self.check(browser), (outcome, reason))
                    first = browser.find("#verdict h2 + p")
                    self.assertEqual(first.get_attribute("class"), "rules")
                    self.assertEqual(first.text, words[0].upper() + words[1:] + ".")
                    codes = [box.get_attribute("data-caution") for box in browser.find_all("#verdict .cautions input")]
                    self.assertEqual(codes[:-1], [] if reason else [caution["code"] for caution in said["cautions"]])
                    self.look(browser, f"rules-{outcome}-{width}-{'dark' if dark else 'light'}")

    def seal_wide(self):
        """A revision whose region map lets 64 KiB more be edited, approved by the root."""
        old = MAPS / "engine.regions.json"
        regions = json.loads(old.read_bytes())
        next(region for region in regions["regions"] if region["name"] == "tail")["policy"] = "editable"
        regions["version"] += 1
        wide = self.desk.put("wide.json", json.dumps(regions).encode())
        self.desk.quicken("root.key")
        self.desk.json(CALSEAL, "regions", "approve", old, wide, "--text", "the tail holds data of ours", "--key", self.desk.at("root.key"), "--trust",
                       self.desk.at("shop.trust"), "--passphrase-file", self.desk.at("word.txt"), "-o", self.desk.at("wide.approval"))
        self.desk.seal_on("r0", "flash=" + self.desk.data("engine-r2-flash.bin"), "wide", "--parent", self.desk.at("r1.calseal"), "--regions", wide,
                          "--approval", self.desk.at("wide.approval"))

    def narrowed(self, state):
        """The state as if the revision had been accepted under a map of which one region was locked."""
        with zipfile.ZipFile(self.desk.at("r1.calseal")) as bundle:
            text = bundle.read("regions/engine.json")
        narrow = json.loads(text)
        next(region for region in narrow["regions"] if region["name"] == "tables")["policy"] = "locked"
        narrow["version"] += 1
        narrow = json.dumps(narrow)
        known = json.loads(state.split(b"\n")[0])
        self.assertEqual(known["maps"], [text.decode()])
        known["maps"] = [narrow]
        known["roots"][0]["jobs"][0]["revisions"][0]["map"] = hashlib.sha256(narrow.encode()).hexdigest()
        line = json.dumps(known, separators=(",", ":"), ensure_ascii=False).encode()
        return line + b"\n" + hashlib.sha256(line).hexdigest().encode() + b"\n"

    def test_every_further_file_reaches_the_check(self):
        """A file that begins as one of its kind and holds nothing is refused for the reason of the other checker."""
        self.engine()
        options = {"withdrawals": ("withdrawal/1", "--withdrawals"), "jobList": ("job-list/1", "--job-list"),
                   "successions": ("succession/1", "--succession"), "inclusion": ("inclusion/1", "--inclusion")}
        for kind, (literal, option) in options.items():
            with self.subTest(kind=kind):
                junk = self.desk.put("junk-" + kind, b'{"calseal":"%s","x":1}' % literal.encode() + b"\n" * 100)
                said = self.by_checker(*self.desk.evidence("r1"), *self.desk.engine_read(), option, junk, status=1)
                self.give(junk)
                self.assertEqual(self.check(), ("refused", said["reason"]))
                self.take_away(kind)
        self.give(self.desk.put("junk.state", b'{"calseal":"state/1","x":1}' + b"\n" * 100))
        self.assertEqual(self.check(), ("accepted", None))
        self.assertIn("earlier checks is damaged", self.browser.text("#verdict .cautions"))

    def test_the_root_is_shown_and_compared_with_what_the_shop_told(self):
        self.engine()
        self.assertEqual(self.browser.text("#fingerprint"), self.root)
        self.assertIn("cannot vouch for itself", self.browser.text())
        self.browser.find("#stated-root").send_keys(OTHER_ROOT)
        self.assertEqual(self.check(), ("refused", "root-mismatch"))
        self.browser.find("#stated-root").clear()
        self.browser.find("#stated-root").send_keys(self.root)
        self.assertEqual(self.check(), ("accepted", None))
        self.assertEqual(self.browser.find_all("[data-caution=root-not-confirmed]"), [])

    def test_a_misheard_group_is_named_while_it_is_typed(self):
        self.begin()
        field, says = self.browser.find("#stated-root"), self.browser.find("#stated-root-says")
        self.assertEqual((says.text, says.get_attribute("aria-live")), ("", "polite"))
        self.assertIn("stated-root-says", field.get_attribute("aria-describedby").split())
        groups = self.root.split(" ")
        field.send_keys(" ".join(groups[:4]).lower())
        self.assertEqual((says.text, field.get_attribute("aria-invalid")), ("… 3 of 13 groups are as above so far.", "false"))
        wrong = groups[4][:3] + str((int(groups[4][3]) + 1) % 10)
        field.send_keys("-" + wrong)
        self.assertEqual(says.text, "✕ Group 4 does not fit its check digit: have it read to you again.")
        self.assertEqual(field.get_attribute("aria-invalid"), "true")
        self.look(self.browser, "misheard")
        field.clear()
        field.send_keys(self.root.replace(" ", ","))
        self.assertEqual((says.text, field.get_attribute("aria-invalid")), ("✓ All 13 groups are those above.", "false"))
        self.look(self.browser, "heard")
        field.clear()
        field.send_keys("Q 2052")
        self.assertIn("this is a receipt's code", says.text.lower())
        field.clear()
        field.send_keys(OTHER_ROOT)
        self.assertIn("groups differ from the code above", says.text)
        field.clear()
        field.send_keys(" ")
        self.assertEqual(says.text, "")

    def test_a_shop_name_is_text_whatever_it_is(self):
        name = 'Bolt & Sons <script>alert(1)</script> "{{TRUST}}"'
        folder = self.desk.inputs / "other"
        folder.mkdir()
        self.desk.json(CALSEAL, "shop", "new", folder, "--name", name, "--passphrase-file", self.desk.at("word.txt"))
        self.desk.json(CALSEAL, "customer-page", "--trust", folder / "shop.trust", "-o", self.desk.at("other.html"))
        self.browser.open(self.desk.at("other.html"))
        self.browser.until(lambda: self.browser.find("#form").is_displayed(), "the form")
        self.assertEqual(self.browser.text(".shop"), "For customers of " + name)
        self.choose_bundle(self.desk.at("r1.calseal"))
        self.assertEqual(self.browser.find("#bundle-says .refused").get_attribute("data-reason"), "signer-unknown")

    def test_nothing_reaches_the_network(self):
        self.begin()
        refused = self.browser.driver.execute_async_script(
            "const done = arguments[0]; fetch('https://example.invalid/').then(() => done('went out'), () => done('refused'));")
        self.assertEqual(refused, "refused")
        complaints = self.browser.complaints()
        self.assertTrue(any("Content Security Policy" in text for text in complaints), complaints)

    def test_without_ed25519_it_says_so_and_does_nothing(self):
        with Chromium(PHONE) as browser:
            browser.command("Page.addScriptToEvaluateOnNewDocument", source="""
                delete window.Worker;
                const real = crypto.subtle.importKey.bind(crypto.subtle);
                crypto.subtle.importKey = (format, key, algorithm, ...rest) => (algorithm.name ?? algorithm) === 'Ed25519'
                  ? Promise.reject(new DOMException('none', 'NotSupportedError')) : real(format, key, algorithm, ...rest);""")
            browser.open(self.page)
            browser.until(lambda: "Ed25519" in browser.text("#halt"), "the message")
            self.assertFalse(browser.find("#form").is_displayed())
            self.assertNotIn("calseal", browser.text("#halt"), "a customer has no use for the name of a program")
            self.assertEqual(browser.violations(), [])

    def test_over_plain_http_it_says_so_and_does_nothing(self):
        handler = functools.partial(QuietHandler, directory=str(pathlib.Path(self.page).parent))
        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            # A name that is not this machine's own, for which browsers make no exception.
            with Chromium(PHONE, flags=["--host-resolver-rules=MAP shop.example 127.0.0.1"]) as browser:
                browser.driver.get(f"http://shop.example:{server.server_port}/check.html")
                browser.until(lambda: "SHA-256" in browser.text("#halt"), "the message")
                self.assertFalse(browser.find("#form").is_displayed())
        finally:
            server.shutdown()
            server.server_close()

    def test_without_a_worker_it_checks_all_the_same(self):
        with Chromium(DESKTOP) as browser:
            browser.command("Page.addScriptToEvaluateOnNewDocument", source="delete window.Worker;")
            self.begin(browser)
            self.choose_bundle(self.desk.at("r1.calseal"), browser)
            self.give(self.desk.data("engine-a-flash.bin"), self.desk.data("engine-a-eeprom.bin"), self.desk.at("oak.salt"), browser=browser)
            self.assertEqual(self.check(browser), ("accepted", None))

    def test_every_state_is_accessible_narrow_and_wide_light_and_dark(self):
        for width in (PHONE, DESKTOP):
            for dark in (False, True):
                with self.subTest(width=width, dark=dark), Chromium(width, dark=dark) as browser:
                    name = f"{width}-{'dark' if dark else 'light'}"
                    self.begin(browser)
                    self.look(browser, f"begin-{name}")
                    self.choose_bundle(self.desk.at("r1.calseal"), browser)
                    browser.find("form > details summary").click()
                    self.give(self.desk.data("engine-a-updated-flash.bin"), self.desk.data("engine-a-eeprom.bin"), self.desk.at("oak.salt"), browser=browser)
                    self.assertEqual(self.check(browser), ("refused", "read-foreign"))
                    self.look(browser, f"refused-{name}")
                    browser.find("[aria-label='Remove engine-a-updated-flash.bin']").click()
                    self.give(self.desk.data("engine-a-flash.bin"), browser=browser)
                    self.assertEqual(self.check(browser), ("accepted", None))
                    browser.driver.execute_script("for (const part of document.querySelectorAll('#verdict details')) part.open = true")
                    self.look(browser, f"accepted-{name}")

    def look(self, browser, name):
        if PICTURES:
            browser.picture(f"{PICTURES}/{name}.png")
        self.assertEqual(browser.violations(), [], name)
        self.assertLessEqual(browser.overflow(), 0, name)
        self.assertEqual(browser.complaints(), [], name)


if __name__ == "__main__":
    unittest.main()
