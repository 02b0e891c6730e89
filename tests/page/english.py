"""What is left of English on a page that speaks another language."""

import re

WORDS = re.compile(r"\b(the|this|that|your|you|with|which|and|not|is|of|to|are|from|file|read|write|save)\b", re.IGNORECASE)


def english_left(browser, foreign=()):
    """Texts in which English words stand, but for names and texts of others, and what is marked as English."""
    texts = browser.driver.execute_script("""
        const walk = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
        const out = [];
        for (let node; (node = walk.nextNode());) {
          if (node.parentElement.closest("bdi, main [lang=en], script, .code") === null) out.push(node.data);
        }
        return out;""")
    for known in sorted(foreign, key=len, reverse=True):
        texts = [text.replace(known, "") for text in texts]
    return [text for text in texts if WORDS.search(text)]
