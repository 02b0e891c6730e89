"""The table of region maps with one fault each; fixtures/region_maps/README.md says how it is written."""

import re
import sys


def patched(base, patch, name):
    """`base` with what each hunk takes out, which stands there once, replaced by what it puts in."""
    text = "\n" + "".join(line + "\n" for line in base)
    for hunk in "\n".join(patch).split("\n@@\n"):
        old, new = ("".join("\n" + line[1:] for line in hunk.split("\n") if line[0] != other) + "\n" for other in "+-")
        if text.count(old) != 1:
            sys.exit(f"bad.txt: {name}: a hunk that does not fit")
        text = text.replace(old, new)
    return text[1:]


def bad_maps(path):
    """The bases of fixtures/region_maps/bad.txt, and its rows: name, text, whether the schema refuses it, and the reason."""
    bases, rows = {"nothing": []}, []
    for section in re.split(r"^=== ", path.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]:
        head, *body = section.rstrip("\n").split("\n")
        name, _, base = head.partition(" of ")
        if base:
            text = patched(bases[base], body[2:], name)
            reason = re.match(r"\[([a-z-]+)\] ", body[0]).group(1)
            rows.append((name, text, {"schema refuses": True, "schema takes": False}[body[1]], reason))
        else:
            bases[name.removeprefix("base ")] = body
    del bases["nothing"]
    return bases, rows
