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


class SendView:
    """The page's view "Send to the shop"."""

    def __init__(self, photographer):
        self.photographer, self.browser, self.folder = photographer, photographer.browser, photographer.folder
        self.browser.driver.get((self.folder / "check.html").as_uri() + "#send")
        self.browser.until(lambda: "Sheet 1" in self.browser.text("#pcl"), "the sheet")

    def read(self, name, place=None):
        """One read more; `place` is chosen where the page does not know what it is of."""
        said = lambda: [part.text for part in self.browser.find_all(".pcl-card-says")]
        count = len(said())
        self.browser.give("#pcl-add-reads", self.folder / name)
        self.browser.until(lambda: len(said()) > count, "one read more")
        if place is not None:
            options = self.browser.find_all(".pcl-card select")[-1].find_elements("css selector", "option")
            self.press(next(option for option in options if option.text.startswith(place)))
        self.browser.until(lambda: not any("\u2026" in text or text == "" for text in said()), "a look at it")

    def press(self, element):
        self.browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()

    def take(self, name, first, last):
        """From one section to another, each by the id of its heading."""
        self.browser.driver.execute_script("document.activeElement.blur()")
        edges = [self.photographer.edges(f"document.getElementById({part!r}).closest('section')") for part in (first, last)]
        self.photographer.take(name, edges[0][0] - 8, edges[1][1] + 8)


def parcel_sent(photographer):
    view = SendView(photographer)
    view.read("mine-eeprom.bin")
    view.read("first-try.bin", "flash")
    view.take("parcel-reads.webp", "pcl-reads-title", "pcl-reads-title")
    browser = photographer.browser
    view.press(browser.find_all(".pcl-card button")[1])
    view.read("mine-flash.bin")
    for option in ("shift-light", "torque"):
        view.press(browser.find(f"#pcl-option-{option}"))
    view.press(browser.find("#pcl-answer-fuel-1"))
    view.press(browser.find("#pcl-caution-0"))
    view.take("parcel-order.webp", "pcl-order-title", "pcl-cautions-title")
    browser.find("#pcl-vehicle").send_keys("blue estate")
    view.press(browser.find("#pcl-make"))
    browser.until(lambda: browser.find_all("#pcl-fingerprint"), "the parcel")
    top, _, _, _ = photographer.edges("document.querySelector('.pcl-ready')")
    _, bottom, _, _ = photographer.edges("document.querySelector('#pcl-fingerprint')")
    photographer.take("parcel-ready.webp", top - 8, bottom + 16)


def parcel(photographer):
    parcel_sent(photographer)
    browser, folder = photographer.browser, photographer.folder
    browser.driver.get("about:blank")
    browser.open(folder / "check.html")
    browser.until(lambda: browser.find("#form").is_displayed(), "the form")
    browser.find("#files").send_keys("\n".join(str(folder / name) for name in ("r1.calseal", "mine-flash.bin", "mine-eeprom.bin", "oak-17.salt")))
    browser.until(lambda: browser.find("#given").get_attribute("aria-busy") == "false", "files taken in")
    browser.find("#check").click()
    browser.until(lambda: browser.find_all("#verdict ul.ordered"), "a verdict with the order")
    top, _, _, _ = photographer.edges("document.querySelector('#verdict')")
    _, bottom, _, _ = photographer.edges("document.querySelector('#verdict ul.ordered + .hint') ?? document.querySelector('#verdict ul.ordered')")
    photographer.take("parcel-verdict.webp", top - 12, bottom + 12)


def auditor(photographer):
    photographer.browser.open(photographer.folder / "audit.html")
    photographer.beginning("audit.webp", "Findings")
    photographer.section("years.webp", "Over the years")


def take_pictures(page, folder, output):
    shown = {"tuner": (tuner, 1040), "customer": (customer, 360), "parcel": (parcel, 360), "auditor": (auditor, 1040)}
    if page not in shown:
        return
    take, width = shown[page]
    with Chromium(width, 740 if width == 360 else 800) as browser:
        take(Photographer(browser, folder, output))
