#!/usr/bin/env python3
"""What a customer sees of a verdict, in Debian's Chromium: files chosen again, files that cannot be read, texts that try to mislead,
long words, large letters. The bundles come from write_looks.mjs, which seals whatever it is told to.

CALSEAL_PICTURES=FOLDER keeps pictures.
"""

import base64
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time
import unittest
import zipfile

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / "browser")]

from chromium import Chromium

CALSEAL = os.environ["CALSEAL"]
PICTURES = os.environ.get("CALSEAL_PICTURES")
PHONE, TABLET, DESKTOP = 360, 768, 1600
LONG = "Overspecialisedturbochargerwastegatecalibrationheadquarters60"
UNSEEN = "\u202e\u200b\U000e0041\u3164\u00ad"


class Customer:
    """One browser with one shop's page, and what a person does there."""

    def __init__(self, folder, width, trust="shop", **browser):
        self.folder = folder
        self.browser = Chromium(width, 740 if width == PHONE else 900, **browser)
        page = folder / f"{trust}.html"
        if not page.exists():
            subprocess.run([CALSEAL, "customer-page", "--trust", folder / f"{trust}.trust", "-o", page], check=True, capture_output=True)
        self.browser.open(page)
        self.browser.until(lambda: self.browser.find("#form").is_displayed(), "the form")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.browser.__exit__()

    def script(self, text, *arguments):
        return self.browser.driver.execute_script(text, *arguments)

    def give(self, *names):
        """Files into the one picker; waits until each stands in the list and every bundle has been looked at."""
        self.browser.find("#files").send_keys("\n".join(str(self.folder / name) for name in names))
        self.settle()

    def settle(self):
        self.browser.until(lambda: self.browser.find("#given").get_attribute("aria-busy") == "false", "files taken in")

    def drag(self, data, *kinds):
        """Files over the page; a browser tells the page of one event after the other, and needs a moment for each."""
        for kind in kinds:
            self.browser.command("Input.dispatchDragEvent", type=kind, x=300, y=500, data=data)
            time.sleep(0.3)

    def key(self, name, code, text=""):
        for kind in ("keyDown", "keyUp"):
            more = {"text": text} if text and kind == "keyDown" else {}
            self.browser.command("Input.dispatchKeyEvent", type=kind, key=name, code=name if name != " " else "Space", windowsVirtualKeyCode=code, **more)

    def tab(self):
        self.key("Tab", 9)
        return self.script("const one = document.activeElement; return one.id || one.getAttribute('aria-label') || one.textContent")

    def listed(self):
        return [part.text for part in self.browser.find_all("#given > li")]

    def bundle(self, name):
        while self.browser.find_all("#given [data-kind=bundle]"):
            self.browser.find("#given [data-kind=bundle] .remove").click()
        self.give(name)
        self.browser.until(lambda: self.browser.find_all("#bundle-says .verdict"), "what the seal says")

    def read(self, start="my-", salt=True):
        while self.browser.find_all("#given [data-kind=raw]"):
            self.browser.find("#given [data-kind=raw] .remove").click()
        self.give(f"{start}flash.bin", f"{start}nv.bin", *(["shop.salt"] if salt else []))
        if not self.browser.find("#fresh").is_selected():
            self.browser.find("#fresh").click()

    def check(self):
        """Presses the button; gives the outcome."""
        self.browser.find("#check").click()
        self.browser.until(lambda: self.browser.find_all("#verdict h2"), "a verdict")
        return next(name for name in self.browser.find("#verdict > div").get_attribute("class").split() if name != "verdict")

    def verdict(self, bundle="r1.calseal", start="my-"):
        self.bundle(bundle)
        self.read(start)
        return self.check()

    def choose(self, selector, path):
        """As a person does: a click opens the dialogue, and a file is chosen in it, though it be the one that was chosen before."""
        self.press(selector)
        root = self.browser.command("DOM.getDocument")["root"]["nodeId"]
        node = self.browser.command("DOM.querySelector", nodeId=root, selector=selector)["nodeId"]
        self.browser.command("DOM.setFileInputFiles", nodeId=node, files=[str(path)])

    def press(self, selector):
        """A real click; the dialogue itself is the driver's."""
        self.browser.command("Page.setInterceptFileChooserDialog", enabled=True)
        x, y = self.script("""
            arguments[0].scrollIntoView({block: "center"});
            const box = arguments[0].getBoundingClientRect();
            return [box.left + 20, box.top + box.height / 2];""", self.browser.find(selector))
        for kind in ("mousePressed", "mouseReleased"):
            self.browser.command("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def appear(self, width, manner):
        """As a phone or a computer, in light or dark, on paper, or in the colours that the person's system forces."""
        self.browser.command("Emulation.setDeviceMetricsOverride", width=width, height=740 if width == PHONE else 900, deviceScaleFactor=1,
                             mobile=width == PHONE)
        features = {"prefers-color-scheme": "dark" if manner == "dark" else "light", "forced-colors": "active" if manner == "forced" else "none"}
        self.browser.command("Emulation.setEmulatedMedia", media="print" if manner == "print" else "",
                             features=[{"name": name, "value": value} for name, value in features.items()])

    def open_all(self):
        self.script("for (const part of document.querySelectorAll('details')) part.open = true")


class Verdicts(unittest.TestCase):
    """Tests of pages over the files of write_looks.mjs."""

    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(tempfile.mkdtemp(prefix="calseal-looks-"))
        subprocess.run([os.environ.get("CALSEAL_NODE", "node"), pathlib.Path(__file__).parent / "write_looks.mjs", cls.folder], check=True)

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.folder)

    def look(self, customer, name):
        if PICTURES:
            customer.browser.picture(f"{PICTURES}/{name}.png")
        self.assertEqual(customer.browser.violations(), [], name)
        self.assertEqual(self.too_wide(customer), [], name)
        self.assertEqual(customer.browser.complaints(), [], name)

    def too_wide(self, customer):
        """What reaches out of the window, or is cut off at the edge of its own box."""
        return customer.script("""
            const wide = document.documentElement.clientWidth;
            const out = document.documentElement.scrollWidth > wide ? [`the page: ${document.documentElement.scrollWidth}`] : [];
            for (const one of document.querySelectorAll("main *")) {
              const box = one.getBoundingClientRect();
              if (box.width === 0 || one.tagName === "OPTION") continue;
              if (box.right > wide + 0.5 || box.left < -0.5) out.push(`${one.tagName} ${one.id} ${one.textContent.slice(0, 40)}: ${box.left} to ${box.right}`);
            }
            return out;""")


class States(Verdicts):
    def state(self, customer, name):
        """Brings a verdict about: what a customer most often sees."""
        bundle, start = {"damaged": ("damaged.calseal", None), "other-car": ("r1.calseal", "other-car-"), "holds": ("r1.calseal", "after-")}.get(
            name, ("r1.calseal", "my-"))
        customer.bundle(bundle)
        if start:
            customer.read(start)
        if name == "old":
            customer.give("newer.state")
        return customer.check()

    STATES = {"accepted": ("accepted", ""), "holds": ("accepted", ""), "damaged": ("refused", "prefix-damaged"),
              "other-car": ("refused", "vehicle-mismatch"), "old": ("refused", "sequence-old")}


class FirstScreen(States):
    BROWSER = {}
    WANTED = ["What to do now", "Example Shop"]
    OUTCOMES = r"^[✓✕]\n?\s*(Accepted|Refused)\n"

    def test_a_phone_shows_what_it_is_and_what_to_do_without_scrolling(self):
        for name, expected in self.STATES.items():
            with self.subTest(name), Customer(self.folder, PHONE, **self.BROWSER) as customer:
                self.assertEqual(self.state(customer, name), expected[0])
                self.assertEqual(customer.browser.find("#verdict .verdict").get_attribute("data-reason"), expected[1])
                top, bottom, height = customer.script("""
                    const box = document.querySelector("#verdict .first").getBoundingClientRect();
                    return [box.top, box.bottom, innerHeight];""")
                self.assertEqual(height, 740)
                self.assertGreaterEqual(top, 0)
                self.assertLessEqual(bottom, height)
                self.assertLess(customer.browser.find("#verdict h2").size["height"], 50, "the word stands in one line")
                first = customer.browser.text("#verdict .first")
                wanted = self.WANTED + (["blue estate", "Stage one"] if name != "damaged" else [])
                for words in wanted:
                    self.assertIn(words, first)
                self.assertRegex(first, self.OUTCOMES)
                self.assertEqual(customer.script("return document.querySelectorAll('#verdict details[open]').length"), 0, "technical rows are folded")
                self.assertNotRegex(customer.browser.text("#verdict"), r"SHA-256|0x[0-9a-f]|Reason code|region map [a-z]+ version")


class Looks(States):
    # Files.

    def test_a_mended_file_of_the_same_name_is_judged_anew(self):
        with Customer(self.folder, DESKTOP) as customer:
            path = self.folder / "again.calseal"
            path.write_bytes((self.folder / "damaged.calseal").read_bytes())
            customer.choose("#files", path)
            customer.browser.until(lambda: customer.browser.find_all("#bundle-says .refused"), "a refusal")
            path.write_bytes((self.folder / "r1.calseal").read_bytes())
            customer.choose("#files", path)
            customer.browser.until(lambda: customer.browser.find_all("#bundle-says .authentic"), "the seal")
            customer.read()
            mine = self.folder / "my-nv.bin"
            good = mine.read_bytes()
            mine.write_bytes((self.folder / "other-car-nv.bin").read_bytes())
            customer.choose("#files", mine)
            customer.settle()
            self.assertEqual(customer.check(), "refused")
            mine.write_bytes(good)
            customer.choose("#files", mine)
            customer.browser.until(lambda: not customer.browser.find_all("#verdict h2"), "the old verdict gone")
            self.assertEqual(customer.check(), "accepted")

    def test_a_file_that_cannot_be_read_is_told_and_can_be_chosen_again(self):
        with Customer(self.folder, DESKTOP) as customer:
            customer.choose("#files", self.folder / "gone.calseal")
            customer.browser.until(lambda: customer.browser.find_all("#given > li"), "a row", seconds=10)
            self.assertIn("could not be read", customer.listed()[0])
            self.assertEqual(customer.verdict(), "accepted")

    def test_files_come_in_any_order_and_are_told_by_their_content(self):
        with Customer(self.folder, PHONE) as customer:
            self.assertIn("the file that the shop sent", customer.browser.text("#missing"))
            for name, content in (("a", "shop.salt"), ("b", "my-nv.bin"), ("c", "newer.state"), ("d", "r1.calseal"), ("e", "shop.trust")):
                (self.folder / name).write_bytes((self.folder / content).read_bytes())
            (self.folder / "g.html").write_text("<!doctype html><title>x</title>")
            (self.folder / "h").write_bytes(b"")
            customer.give("a", "b")
            self.assertIn("give the shop's file too", customer.listed()[1])
            customer.give("d", "e", "c")
            self.assertEqual([text.split("\n")[1] for text in customer.listed()], [
                "the salt of the job", "nv of the engine, 64 bytes, fits", "engine, revision 1: to be checked",
                "the shop's trust file: this page has its own, and does not use it", "what was remembered last time (state)"])
            self.assertEqual(customer.browser.text("#missing"), "Still missing:\nthe read of flash (256 bytes)")
            customer.give("my-flash.bin", "g.html", "h")
            self.assertEqual(customer.browser.text("#missing"), "Nothing is missing. You can check now.")
            self.assertIn("an empty file", customer.listed()[-1])
            self.assertIn("a web page", customer.listed()[-2])
            customer.browser.find("#fresh").click()
            self.assertEqual(customer.check(), "refused", "the state knows a newer one")
            self.look(customer, "files-given")
            customer.browser.find("[aria-label='Remove c']").click()
            self.assertEqual(customer.browser.find_all("#verdict h2"), [])
            self.assertEqual(customer.script("return document.activeElement.getAttribute('aria-label')"), "Remove my-flash.bin")
            self.assertEqual(customer.check(), "accepted")

    def test_a_packed_download_is_unpacked(self):
        for method in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            with zipfile.ZipFile(self.folder / "all.zip", "w", method) as packed:
                for name in ("r1.calseal", "shop.salt", "my-flash.bin", "my-nv.bin"):
                    packed.write(self.folder / name, f"download/{name}")
            with self.subTest(method=method), Customer(self.folder, DESKTOP) as customer:
                customer.give("all.zip")
                self.assertEqual(len(customer.listed()), 4)
                customer.browser.find("#fresh").click()
                self.assertEqual(customer.check(), "accepted")
                (self.folder / "cut.zip").write_bytes((self.folder / "all.zip").read_bytes()[:-40])
                customer.give("cut.zip")
                self.assertIn("unpack it first", customer.listed()[-1])

    def test_files_are_dropped_anywhere_and_several_revisions_are_told_apart(self):
        with Customer(self.folder, DESKTOP) as customer:
            files = [str(self.folder / name) for name in ("r1.calseal", "r0.calseal", "my-flash.bin", "my-nv.bin", "shop.salt")]
            data = {"items": [], "files": files, "dragOperationsMask": 1}
            customer.drag(data, "dragEnter", "dragOver")
            customer.browser.until(lambda: customer.browser.find("#drop").is_displayed(), "the area to drop on")
            self.look(customer, "dropping")
            customer.drag(data, "dragEnter", "dragOver", "dragOver", "drop")
            customer.browser.until(lambda: len(customer.listed()) == 5, "five files")
            customer.settle()
            self.assertFalse(customer.browser.find("#drop").is_displayed())
            texts = customer.listed()
            self.assertIn("revision 1: to be checked", texts[0])
            self.assertIn("revision 0: not used now", texts[1])
            customer.browser.find("#fresh").click()
            self.assertEqual(customer.check(), "accepted")
            customer.browser.find("[aria-label='Check this one: r0.calseal']").click()
            customer.settle()
            self.assertIn("revision 0: to be checked", customer.listed()[1])
            self.assertIn("revision 1: the newest one", customer.listed()[0])
            self.look(customer, "several")

    def test_all_of_it_is_done_with_the_keyboard(self):
        with Customer(self.folder, PHONE) as customer:
            customer.give("r1.calseal", "my-flash.bin", "my-nv.bin", "shop.salt")
            customer.script("document.activeElement.blur(); scrollTo(0, 0)")
            reached = []
            while len(reached) < 40 and "check" not in reached:
                reached.append(customer.tab())
                if reached[-1] == "fresh":
                    customer.key(" ", 32, " ")
            for wanted in ("stated-root", "files", "Remove r1.calseal", "Remove shop.salt", "fresh", "vehicle", "check"):
                self.assertIn(wanted, reached)
            customer.key("Enter", 13, "\r")
            customer.browser.until(lambda: customer.browser.find_all("#verdict h2"), "a verdict")
            self.assertEqual(customer.script("return document.activeElement.id"), "verdict-title")
            reached = [""]
            while len(reached) < 40 and not reached[-1].startswith("Save flash"):
                reached.append(customer.tab())
                if reached[-1].startswith("caution-"):
                    customer.key(" ", 32, " ")
            customer.key("Enter", 13, "\r")
            self.assertEqual(customer.browser.saved_file("my-flash-revision-1.bin"), (self.folder / "after-flash.bin").read_bytes())

    # What is to be written.

    def test_a_memory_that_does_not_change_is_not_offered(self):
        with Customer(self.folder, PHONE) as customer:
            self.assertEqual(customer.verdict(), "accepted")
            buttons = [button.text for button in customer.browser.find_all("#verdict ul.plain button")]
            self.assertEqual(len(buttons), 1, buttons)
            self.assertIn("flash", buttons[0])
            self.assertEqual([part.text for part in customer.browser.find_all("#verdict .stays")],
                             ["Memory nv stays as it is: not one byte of it changes. Do not write it."])

    def test_a_read_that_holds_the_revision_is_not_written(self):
        with Customer(self.folder, PHONE) as customer:
            self.assertEqual(customer.verdict(start="after-"), "accepted")
            self.assertEqual(customer.browser.find_all("#verdict button"), [])
            self.assertEqual(customer.browser.find_all("#verdict input"), [])
            text = customer.browser.text("#verdict")
            self.assertIn("Nothing is to be written", text)
            self.assertNotIn("Before you write", text)
            self.look(customer, "holds")
            customer.browser.find("form > details summary").click()
            customer.browser.find("#new-state").click()
            self.assertEqual(customer.check(), "accepted")
            self.assertEqual([button.text for button in customer.browser.find_all("#verdict button")], ["Save the new state"])
            for box in customer.browser.find_all(".cautions input"):
                customer.script("arguments[0].scrollIntoView({block: 'center'})", box)
                box.click()
            customer.browser.find("#verdict button").click()
            self.assertIn(b'"state/1"', customer.browser.saved_file("checker.state"))

    # Texts.

    def test_notes_stand_in_their_lines(self):
        with Customer(self.folder, DESKTOP) as customer:
            self.assertEqual(customer.verdict(), "accepted")
            customer.open_all()
            text = customer.browser.text("#verdict")
            self.assertIn("First line\nsecond line\nthird line\nfourth\nfifth", text)
            self.assertNotIn("\\u00", text)

    def test_what_was_ordered_stands_with_a_sign_and_a_word(self):
        with Customer(self.folder, PHONE) as customer:
            self.assertEqual(customer.verdict("ordered.calseal"), "accepted")
            self.assertEqual([" ".join(part.text.split()) for part in customer.browser.find_all("#verdict ul.ordered > li")], [
                "✓ boost: in this revision", "– Economy: not in this revision: needs another gearbox", "✓ Launch control: in this revision",
                "+ Quiet start: in this revision, not ordered"])
            text = customer.browser.text("#verdict")
            self.assertIn("Ordered – in this revision", text)
            self.assertIn("only which bytes change", text)
            for width in (PHONE, TABLET, DESKTOP):
                for manner in ("light", "dark", "print", "forced"):
                    with self.subTest(width=width, manner=manner):
                        customer.appear(width, manner)
                        customer.script("document.querySelector('ul.ordered').scrollIntoView({block: 'center'})")
                        self.screen(customer, f"ordered-{width}-{manner}")
                        if manner in ("light", "dark"):
                            self.look(customer, f"ordered-whole-{width}-{manner}")
                        self.assertEqual(self.too_wide(customer), [])

    def test_nothing_in_a_name_is_unseen_or_turns_what_is_around_it(self):
        with Customer(self.folder, DESKTOP, trust="hidden") as customer:
            self.assertEqual(customer.verdict("hidden.calseal"), "accepted")
            customer.open_all()
            shown = customer.script("return document.title + document.querySelector('main').textContent")
            self.assertEqual([hex(ord(c)) for c in UNSEEN if c in shown], [])
            for start in ("Shop", "Key", "t", "o", "d", "w", "c", "q", "v"):
                self.assertIn(start + "\\u202e\\u200b\\u{e0041}\\u3164\\u00ad", shown)

    def test_a_name_in_another_direction_leaves_its_surroundings_in_order(self):
        with Customer(self.folder, DESKTOP, trust="rtl") as customer:
            self.assertEqual(customer.verdict("rtl.calseal"), "accepted")
            customer.open_all()
            loose = customer.script("""
                const walk = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
                const out = [];
                for (let node; (node = walk.nextNode());) {
                  if (!/[\\u0590-\\u05ff]/.test(node.data)) continue;
                  const around = node.parentElement.closest("bdi");
                  if (around === null || !/^[\\u0590-\\u05ff 0-9]+$/.test(around.textContent)) out.push(node.data);
                }
                return out;""")
            self.assertEqual(loose, [])
            self.assertGreater(customer.script("return document.querySelectorAll('#verdict bdi').length"), 4)

    def test_no_command_is_shown(self):
        with Customer(self.folder, DESKTOP) as customer:
            for bundle, start in (("r1.calseal", "my-"), ("damaged.calseal", None), ("r1.calseal", "other-car-")):
                customer.bundle(bundle)
                if start:
                    customer.read(start)
                    customer.check()
                for text in (customer.browser.text(), customer.script("return document.body.innerHTML.replace(/<script.*?<.script>/s, '')")):
                    self.assertNotRegex(text, r"calseal-check|calseal [a-z]+ |(^|[\s(])--[a-z]")

    # Every state.

    def test_every_state_looks_good_everywhere(self):
        for state, (outcome, _) in self.STATES.items():
            with Customer(self.folder, PHONE) as customer:
                self.assertEqual(self.state(customer, state), outcome)
                for width in (PHONE, TABLET, DESKTOP):
                    for manner in ("light", "dark", "print", "forced"):
                        with self.subTest(state=state, width=width, manner=manner):
                            customer.appear(width, manner)
                            self.look_now(customer, f"{state}-{width}-{manner}", with_axe=manner in ("light", "dark"))

    def look_now(self, customer, name, with_axe):
        customer.script("document.getElementById('verdict').scrollIntoView()")
        self.screen(customer, f"screen-{name}")
        if with_axe:
            self.look(customer, name)
        self.assertEqual(self.too_wide(customer), [], name)

    def screen(self, customer, name):
        if PICTURES:
            shot = customer.browser.command("Page.captureScreenshot", format="png")
            pathlib.Path(PICTURES, f"{name}.png").write_bytes(base64.b64decode(shot["data"]))

    def test_print_unfolds_what_is_folded(self):
        with Customer(self.folder, DESKTOP) as customer:
            self.assertEqual(self.state(customer, "other-car"), "refused")
            folded = "return [...document.querySelectorAll('#verdict details')].map((part) => part.open)"
            customer.script("dispatchEvent(new Event('beforeprint'))")
            self.assertNotIn(False, customer.script(folded))
            customer.script("dispatchEvent(new Event('afterprint'))")
            self.assertNotIn(True, customer.script(folded))

    # Room.

    def test_long_words_and_large_letters_stay_in_a_narrow_window(self):
        for trust, bundle in (("long", "long.calseal"), ("shop", "r1.calseal")):
            for large in (False, True):
                with self.subTest(bundle=bundle, large=large), Customer(self.folder, PHONE, trust=trust) as customer:
                    if large:
                        customer.browser.command("Page.setFontSizes", fontSizes={"standard": 32, "fixed": 26})
                    self.look(customer, f"begin-{trust}-{large}")
                    customer.bundle(bundle)
                    self.look(customer, f"seal-{trust}-{large}")
                    for start, outcome in (("my-", "accepted"), ("other-car-", "refused")):
                        customer.read(start)
                        self.assertEqual(customer.check(), outcome)
                        customer.open_all()
                        self.look(customer, f"{outcome}-{trust}-{large}")


if __name__ == "__main__":
    unittest.main()
