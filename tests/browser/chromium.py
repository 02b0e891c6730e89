"""Headless Chromium for tests of the pages that we write: opens a file from disk, as a phone or a computer of a given width,
light or dark; keeps its console, takes what it saves, and asks axe-core about accessibility.

axe-core (MPL-2.0) is a tool of the tests and no part of calseal: npm fetches it, and only the very bytes named here are used.
"""

import base64
import hashlib
import io
import os
import pathlib
import shutil
import subprocess
import tarfile
import tempfile
import time

try:
    from selenium import webdriver
except ModuleNotFoundError:  # Debian's package belongs to Debian's interpreter
    import sys
    if os.path.realpath(sys.executable) == os.path.realpath("/usr/bin/python3"):
        raise
    os.execv("/usr/bin/python3", ["/usr/bin/python3", *sys.argv])
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

AXE_VERSION = "4.10.3"
AXE_INTEGRITY = "sha512-Xm7bpRXnDSX2YE2YFfBk2FnF0ep6tmG7xPh8iHee8MIcrgq762Nkce856dYtJYLkuIoYZvGfTs/PbZhideTcEg=="
FLAGS = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"]


def axe_source():
    """The script, from a package whose bytes have the digest above; kept beside other caches of the user."""
    cache = pathlib.Path(os.environ.get("XDG_CACHE_HOME", os.path.expanduser("~/.cache"))) / "calseal-tests"
    package = cache / f"axe-core-{AXE_VERSION}.tgz"
    if not package.exists():
        with tempfile.TemporaryDirectory() as folder:
            # Node.js brings its own list of authorities; the system's may hold one more, of the network's own proxy.
            env = {"NODE_EXTRA_CA_CERTS": "/etc/ssl/certs/ca-certificates.crt", **os.environ}
            done = subprocess.run(["npm", "pack", "--loglevel=error", f"axe-core@{AXE_VERSION}"], cwd=folder, env=env, capture_output=True, text=True,
                                  check=False)
            if done.returncode != 0:
                raise AssertionError(f"npm could not fetch axe-core {AXE_VERSION}: {done.stderr}")
            cache.mkdir(parents=True, exist_ok=True)
            shutil.copy(pathlib.Path(folder) / f"axe-core-{AXE_VERSION}.tgz", package)
    data = package.read_bytes()
    found = "sha512-" + base64.b64encode(hashlib.sha512(data).digest()).decode()
    if found != AXE_INTEGRITY:
        package.unlink()
        raise AssertionError(f"{package} is not axe-core {AXE_VERSION}: {found}")
    with tarfile.open(fileobj=io.BytesIO(data)) as archive:
        return archive.extractfile("package/axe.min.js").read().decode()


class Chromium:
    """One browser; `with Chromium(360) as browser:`."""

    def __init__(self, width, height=800, dark=False, flags=()):
        self.home = pathlib.Path(tempfile.mkdtemp(prefix="calseal-chromium-"))
        self.saved = self.home / "saved"
        self.saved.mkdir()
        options = Options()
        options.binary_location = "/usr/bin/chromium"
        for flag in [*FLAGS, *flags, f"--user-data-dir={self.home / 'profile'}", f"--window-size={max(width, 500)},{height}"]:
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        self.driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
        self.command("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 500)
        self.command("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}])
        self.command("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(self.saved))

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.driver.quit()
        shutil.rmtree(self.home, ignore_errors=True)

    def command(self, name, **parameters):
        return self.driver.execute_cdp_cmd(name, parameters)

    def open(self, path):
        self.driver.get(pathlib.Path(path).resolve().as_uri())

    def find(self, selector):
        return self.driver.find_element("css selector", selector)

    def find_all(self, selector):
        return self.driver.find_elements("css selector", selector)

    def text(self, selector="body"):
        return self.find(selector).text

    def give(self, selector, *paths):
        """Files into an input; it is emptied first."""
        field = self.find(selector)
        self.driver.execute_script("arguments[0].value = ''", field)
        field.send_keys("\n".join(str(path) for path in paths))

    def until(self, holds, what, seconds=60):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            value = holds()
            if value:
                return value
            time.sleep(0.05)
        raise AssertionError(f"{what}: not within {seconds} seconds; the page says\n{self.text()}")

    def saved_file(self, name):
        """Bytes of a file that the page has saved, taken away."""
        path = self.saved / name
        # The browser makes the file first and then fills it.
        self.until(lambda: path.exists() and path.stat().st_size > 0, f"{name} saved (there are {[p.name for p in self.saved.iterdir()]})")
        data = path.read_bytes()
        path.unlink()
        return data

    def complaints(self):
        """What stands in the console: errors, warnings, refusals of the content security policy."""
        return [entry["message"] for entry in self.driver.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]

    def overflow(self):
        """By how many pixels the page is wider than the window."""
        return self.driver.execute_script("return document.documentElement.scrollWidth - document.documentElement.clientWidth")

    def violations(self):
        """What axe-core finds against WCAG 2.2 A and AA and against good practice, as short texts."""
        self.driver.set_script_timeout(600)
        self.driver.execute_script(axe_source())
        found = self.driver.execute_async_script(
            "const done = arguments[0];"
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
            ".then(r => done(r.violations), e => done([{id: String(e), nodes: []}]));")
        return [f"{v['id']}: {node['html'][:160]} {node.get('failureSummary', '')}" for v in found for node in v["nodes"] or [{"html": ""}]]

    def picture(self, path):
        """The whole page as PNG."""
        size = self.command("Page.getLayoutMetrics")["cssContentSize"]
        clip = {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}
        shot = self.command("Page.captureScreenshot", format="png", captureBeyondViewport=True, clip=clip)
        pathlib.Path(path).write_bytes(base64.b64decode(shot["data"]))

    def print_to(self, path):
        """What the printer would get, as PDF on A4."""
        printed = self.command("Page.printToPDF", printBackground=False, preferCSSPageSize=True, paperWidth=8.27, paperHeight=11.69)
        pathlib.Path(path).write_bytes(base64.b64decode(printed["data"]))
