"""The catalogue of CRC algorithms, read from its page."""

import functools
import os

PAGE = os.path.join(os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__)))), "docs", "crc-catalogue.md")


@functools.lru_cache(maxsize=None)
def read_page():
    """name or alias -> parameters."""
    out = {}
    with open(PAGE, encoding="utf-8") as file:
        for line in file:
            cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
            if len(cells) != 10 or not cells[2].isdigit():
                continue
            name, aliases, width, poly, init, refin, refout, xorout, check, residue = cells
            entry = {"width": int(width), "poly": int(poly, 16), "init": int(init, 16), "refin": refin == "yes", "refout": refout == "yes",
                     "xorout": int(xorout, 16), "check": int(check, 16), "residue": int(residue, 16)}
            for each in [name] + [alias for alias in aliases.split(", ") if alias]:
                out[each] = entry
    return out
