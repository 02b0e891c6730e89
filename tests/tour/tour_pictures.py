"""Pictures for the tour: parts of the pages that its commands have made, as Chromium draws them."""

import base64
import pathlib
import sys

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / "browser")]

from chromium import Chromium


class Photographer:
    def __init__(self, browser, folder, output):
        self.browser, self.folder, self.output = browser, folder, output

    def take(self, name, top, bottom, left=0, right=None):
        size = self.browser.command("Page.getLayoutMetrics")["cssContentSize"]
        clip = {"x": left, "y": top, "width": (right or size["width"]) - left, "height": bottom - top, "scale": 1}
        shot = self.browser.command("Page.captureScreenshot", format="webp", quality=82, captureBeyondViewport=True, clip=clip)
        (self.output / name).write_bytes(base64.b64decode(shot["data"]))

    def edges(self, script):
        """Top and bottom of an element, in the page."""
        return self.browser.driver.execute_script(
            f"const r = ({script}).getBoundingClientRect(); return [r.top + scrollY, r.bottom + scrollY, r.left, r.right]")

    def section(self, name, title):
        top, bottom, _, _ = self.edges(f"[...document.querySelectorAll('h2')].find(h => h.textContent == {title!r}).closest('section')")
        self.take(name, top, bottom)

    def beginning(self, name, until):
        top, _, _, _ = self.edges(f"[...document.querySelectorAll('h2')].find(h => h.textContent == {until!r}).closest('section')")
        self.take(name, 0, top)


def tuner(photographer):
    photographer.browser.open(photographer.folder / "r1.html")
    photographer.beginning("revision.webp", "At a glance")
    photographer.section("memory.webp", "Memory")
    top, _, _, _ = photographer.edges("document.querySelectorAll('article.place')[0]")
    _, bottom, _, _ = photographer.edges("document.querySelectorAll('article.place .items > .item')[5]")
    photographer.take("curves.webp", top - 24, bottom + 16)


def customer(photographer):
    browser, folder = photographer.browser, photographer.folder
    browser.open(folder / "check.html")
    browser.until(lambda: browser.find("#form").is_displayed(), "the form")

    def give(*names):
        browser.find("#files").send_keys("\n".join(str(folder / name) for name in names))
        browser.until(lambda: browser.find("#given").get_attribute("aria-busy") == "false", "files taken in")

    give("r1.calseal", "mine-flash.bin", "mine-eeprom.bin", "oak-17.salt")
    browser.find("#check").click()
    browser.until(lambda: browser.find_all("#verdict h2"), "a verdict")
    top, _, _, _ = photographer.edges("document.querySelector('#verdict')")
    confirm, bottom, _, _ = photographer.edges("document.querySelector('#verdict fieldset')")
    photographer.take("check.webp", top - 12, confirm - 24)
    photographer.take("confirm.webp", confirm - 36, bottom + 12)
    for _ in range(2):
        browser.find("#given [data-kind=raw] .remove").click()
    give("other-flash.bin", "other-eeprom.bin")
    browser.find("#check").click()
    browser.until(lambda: browser.find_all("#verdict .refused, #verdict > .refused"), "a refusal")
    top, bottom, _, _ = photographer.edges("document.querySelector('#verdict')")
    photographer.take("refused.webp", top - 12, min(bottom + 12, top + 900))


def auditor(photographer):
    photographer.browser.open(photographer.folder / "audit.html")
    photographer.beginning("audit.webp", "Findings")
    photographer.section("years.webp", "Over the years")


def take_pictures(page, folder, output):
    take, width = {"tuner": (tuner, 1040), "customer": (customer, 360), "auditor": (auditor, 1040)}[page]
    with Chromium(width) as browser:
        take(Photographer(browser, folder, output))
