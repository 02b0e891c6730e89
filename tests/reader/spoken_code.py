"""Codes that people compare by voice: docs/bundle-format.md, spoken codes."""

import re

# As in docs/bundle-format.md: first and last code point of every run of separators.
SEPARATORS = """9-d 20 2c-2e 85 a0 ad b7 58a 5be 1400 1680 1806 2000-200a 2010-2015 2028-2029 202f 2053 205f 207b 208b 2212 2e17 2e1a
2e3a-2e3b 2e40 2e5d 3000-3002 301c 3030 30a0 fe31-fe32 fe58 fe63 ff0c-ff0e 10d6e 10ead"""
SEPARATOR = "[" + "".join("-".join(re.escape(chr(int(end, 16))) for end in run.split("-")) for run in SEPARATORS.split()) + "]*"


def fits(digits):
    """ISO/IEC 7064 MOD 11,10: the last digit is the check digit of those before it."""
    product = 10
    for digit in digits[:-1]:
        product = ((product + int(digit)) % 10 or 10) * 2 % 11
    return (product + int(digits[-1])) % 10 == 1


def key_code(identity):
    """Letter and groups of a key id."""
    number = f"{int(identity[:32], 16):039d}"
    groups = [number[at:at + 3] for at in range(0, 39, 3)]
    return ["K"] + [group + next(c for c in "0123456789" if fits(str(i % 10) + group + c)) for i, group in enumerate(groups, 1)]


def states_root(stated, identity):
    """Whether the text is this key's code, its letter in either case, or its id; separators may be anywhere in a code, and around an id."""
    code = SEPARATOR.join(["[Kk]"] + list("".join(key_code(identity)[1:])))
    return any(re.fullmatch(SEPARATOR + text + SEPARATOR, stated) for text in (code, identity))
