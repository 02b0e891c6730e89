#!/usr/bin/env python3
"""Five tasks of a customer who never saw the page, on a phone in Debian's Chromium: the revision is good, damaged, for another car, old;
and after the write, whether the controller holds it. He picks his files once, says that the read is today's
(which nobody can say for him), presses one button, and looks once: the verdict and what to
do now must stand in the window as it is then, in English and in German. The script never scrolls, and opens nothing.

CALSEAL_PICTURES=FOLDER keeps what he sees.
"""

import base64
import pathlib
import unittest

import page_looks_test as looks
from page_looks_test import Customer, PHONE

READ = ["my-flash.bin", "my-nv.bin", "shop.salt"]
TASKS = {  # what he was given, and what must come of it
    "accepted": (["r1.calseal", *READ], "accepted", ""),
    "damaged": (["damaged.calseal", *READ], "refused", "prefix-damaged"),
    "wrong-car": (["r1.calseal", "other-car-flash.bin", "other-car-nv.bin", "shop.salt"], "refused", "vehicle-mismatch"),
    "old": (["r1.calseal", *READ, "newer.state"], "refused", "sequence-old")}
WORDS = {"en": {"accepted": "Accepted", "refused": "Refused", "confirmed": "Confirmed", "next": "What to do now"},
         "de": {"accepted": "Angenommen", "refused": "Abgelehnt", "confirmed": "Bestätigt", "next": "Was jetzt zu tun ist"}}


class Stranger(Customer):
    """Counts what he does; nothing else is allowed to him."""

    def __init__(self, folder, language):
        super().__init__(folder, PHONE, flags=(f"--accept-lang={language}",))
        self.words, self.picks, self.looked = WORDS[language], 0, 0

    def pick(self, selector, names):
        """One file chooser, with all of them in any order."""
        self.picks += 1
        self.browser.find(selector).send_keys("\n".join(str(self.folder / name) for name in reversed(names)))
        given = "#given" if selector == "#files" else "#given-back"
        self.browser.until(lambda: self.browser.find(given).get_attribute("aria-busy") == "false" and self.browser.find_all(f"{given} > li"),
                           "files taken in")

    def say_that_it_is_fresh(self):
        self.browser.find("#fresh").click()

    def press_button(self, selector, answer):
        self.browser.find(selector).click()
        self.browser.until(lambda: self.browser.find_all(answer), "an answer")

    def see(self, card):
        """Every line of text of a card that stands whole in the window, not covered by anything."""
        self.looked += 1
        return self.script("""
            const out = [], walk = document.createTreeWalker(document.querySelector(arguments[0]), NodeFilter.SHOW_TEXT);
            for (let node; (node = walk.nextNode());) {
              if (!node.data.trim()) continue;
              const range = document.createRange();
              range.selectNodeContents(node);
              const boxes = [...range.getClientRects()];
              const seen = boxes.length > 0 && boxes.every((box) => {
                const inside = box.top >= 0 && box.bottom <= innerHeight && box.left >= 0 && box.right <= innerWidth && box.width > 1;
                const on = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
                return inside && on !== null && (node.parentElement.contains(on) || on.contains(node.parentElement));
              });
              if (seen) out.push(node.data.trim());
            }
            return out;""", card)


class FiveTasks(looks.Verdicts):
    def keep(self, stranger, name):
        if looks.PICTURES:
            shot = stranger.browser.command("Page.captureScreenshot", format="png")
            pathlib.Path(looks.PICTURES, f"stranger-{name}.png").write_bytes(base64.b64decode(shot["data"]))

    def assert_told(self, stranger, card, word):
        """The verdict's word, and a next step of at least one sentence, in one look."""
        seen = stranger.see(card)
        self.assertIn(stranger.words[word], seen)
        self.assertIn(stranger.words["next"], seen)
        steps = seen[seen.index(stranger.words["next"]) + 1:]
        self.assertGreater(len(steps), 0)
        self.assertGreater(len(steps[0]), 20, steps)
        self.assertEqual((stranger.picks, stranger.looked), (1, 1))

    def test_one_pick_and_one_look(self):
        for language in WORDS:
            for task, (names, outcome, reason) in TASKS.items():
                with self.subTest(language=language, task=task), Stranger(self.folder, language) as stranger:
                    stranger.pick("#files", names)
                    stranger.say_that_it_is_fresh()
                    stranger.press_button("#check", "#verdict h2")
                    self.keep(stranger, f"{language}-{task}")
                    self.assertEqual(stranger.browser.find("#verdict .verdict").get_attribute("data-reason"), reason)
                    self.assert_told(stranger, "#verdict .first", outcome)

    def test_after_the_write_one_pick_and_one_look(self):
        for language in WORDS:
            with self.subTest(language), Stranger(self.folder, language) as stranger:
                stranger.pick("#files", TASKS["accepted"][0])
                stranger.say_that_it_is_fresh()
                stranger.press_button("#check", "#verdict h2")
                stranger.press_button("#verdict button.plain", "#after")
                stranger.picks = 0
                stranger.pick("#read-back", ["after-flash.bin", "after-nv.bin"])
                stranger.press_button("#confirm", "#confirmation .verdict")
                self.keep(stranger, f"{language}-confirmed")
                self.assert_told(stranger, "#confirmation", "confirmed")


if __name__ == "__main__":
    unittest.main()
