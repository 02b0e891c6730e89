#!/usr/bin/env python3
"""The page's core in Debian's Chromium, with the browser's own signatures, digests and inflation: what it answers to sound and
to damaged situations is what calseal-check answers. CALSEAL_SEED draws the same again."""

import collections
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import unittest

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parents[1] / folder) for folder in ("cli/e2e", "browser")]

from chromium import Chromium

HERE = pathlib.Path(__file__).resolve().parent
CASES = int(os.environ.get("CALSEAL_PAGE_CASES", "300"))
PAGE = """<!doctype html><title>cases</title>
<script type="module">
import { askPage, differences } from "%s";
import { lacking } from "%s";
const bytesOf = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
window.lacking = lacking;
window.judge = async (line) => {
  const { request, answer } = JSON.parse(line, (key, value) => (key === "bytes" ? bytesOf(value) : value));
  return differences(answer, await askPage(request));
};
document.title = "ready";
</script>"""


def node():
    for name in ("node", "nodejs"):
        for folder in os.environ["PATH"].split(os.pathsep):
            if os.access(os.path.join(folder, name), os.X_OK):
                return os.path.join(folder, name)
    raise AssertionError("no node")


class BrowserCases(unittest.TestCase):
    def test_the_browser_answers_as_the_checker_does(self):
        made = subprocess.run([node(), str(HERE / "write_cases.mjs"), str(CASES)], capture_output=True, text=True, encoding="utf-8", check=False)
        self.assertEqual(made.returncode, 0, made.stderr)
        lines = made.stdout.rstrip("\n").split("\n")  # texts of the cases hold other ends of lines
        self.assertGreaterEqual(len(lines), 300)
        answers = collections.Counter()
        wrong = []
        # Modules are files here, which a page from disk may not load; the page that customers get holds them within itself.
        with tempfile.TemporaryDirectory() as folder, Chromium(1280, flags=["--allow-file-access-from-files"]) as browser:
            page = pathlib.Path(folder) / "cases.html"
            page.write_text(PAGE % ((HERE / "answers.mjs").as_uri(), (HERE.parents[1] / "src/page/platform.js").as_uri()))
            browser.open(page)
            browser.until(lambda: browser.driver.title == "ready", "the modules")
            ask = "const done = arguments[1]; judge(arguments[0]).then(done, (fault) => done([String(fault.stack)]));"
            self.assertEqual(browser.driver.execute_async_script("const done = arguments[0]; lacking().then(done, (fault) => done([String(fault)]));"), [])
            browser.driver.set_script_timeout(60)
            for line in lines:
                case = json.loads(line)
                answers[case["answer"]["reason"] or case["answer"]["verdict"]] += 1
                wrong += [f"{case['name']}: {text}" for text in browser.driver.execute_async_script(ask, line)]
            self.assertEqual([text for text in browser.complaints() if "internal" in text], [])
        print(made.stderr.strip(), len(lines), "cases:", ", ".join(f"{reason} {count}" for reason, count in answers.most_common()))
        self.assertEqual(wrong[:20], [], made.stderr)
        self.assertGreaterEqual(len(answers), 25)


if __name__ == "__main__":
    unittest.main()
