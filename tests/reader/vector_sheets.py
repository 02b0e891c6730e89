"""Rows of fixtures/parcels for sheets (docs/sheet.md) and customer files (docs/parcel.md)."""

import copy

import ed25519
import x25519
from json_text import canonical
from parcel_writer import (CUSTOMER, SECOND_SHEET_KEY, SHEET_KEY, conditions, customer_fields, noise, option, question, sheet_fields, sheet_file,
                           trust_file)
from refused import sha256
from shops import OLD_ROOTS, STRANGER_ROOT, key_of, public, statement
from vector_parcels import NOT_GIVEN, Row, flipped
from writer import AUTHOR

TRUST = trust_file()


def sheet(name, expect, note, file, trust=TRUST):
    return Row(name, expect, note, "sheet", file, {**NOT_GIVEN, "trust": trust}, [])


def bent(*changes):
    """The sheet with fields changed before it is signed: (path..., value) each, or a function."""
    fields = sheet_fields()
    for change in changes:
        if callable(change):
            change(fields)
            continue
        *path, last, value = change
        place = fields
        for step in path:
            place = place[step]
        place[last] = value
    return sheet_file(fields)


def choices(count):
    return [{"name": f"c{i}", "text": "a choice"} for i in range(count)]


def good_sheets():
    nothing = {**sheet_fields(), "parcel_key": "", "options": [], "questions": [], "reads": [], "cautions": []}
    for name, file, note in (
            ("offer", sheet_file(), "options, questions, reads and cautions"), ("offer-nothing", sheet_file(nothing), "an empty sheet"),
            ("offer-two-keys", sheet_file(secrets=(SHEET_KEY, SECOND_SHEET_KEY)), "two signatures"),
            ("offer-64-choices", bent(("questions", 0, "choices", choices(64))), "64 choices"),
            ("offer-256-options", bent(("options", [option(f"o{i:03}", "an option") for i in range(256)])), "256 options"),
            ("offer-names-shared", bent(("questions", 3, "name", "towing"), ("questions", 0, "choices", 1, "name", "fuel")), "names differ in their own list only"),
            ("offer-names-of-objects", bent(("options", 0, "name", "constructor"), ("options", 2, "excludes", "options", ["constructor"]), ("questions", 0, "name", "constructor"), ("reads", 0, "controller", "constructor")), "names that every object has"),
            ("offer-requires", bent(("options", 2, "requires", conditions(options=["ethanol"]))), "an option that wants another one of the sheet"),
            ("offer-cautions-unordered", bent(("options", 0, "cautions", ["b", "a"])), "an option's cautions are in the order of its file"),
            ("offer-key-above-p", bent(("parcel_key", "ef" + "ff" * 30 + "7f")), "a parcel key above p that is not of small order")):
        yield sheet(name, "accepted", note, file)
    for name, change, note in (
            ("offer-map-scope", lambda key: key.update(region_maps=[sha256(b"map")]), "region maps of the key do not matter"),
            ("offer-other-roles", lambda key: key.update(roles=["author", "sheet"]), "a role beside it"),
            ("offer-first-second", lambda key: key.update(valid_from="2026-05-06T07:08:09Z"), "valid from that second on"),
            ("offer-last-second", lambda key: key.update(valid_until="2026-05-06T07:08:10Z"), "valid up to that second")):
        yield sheet(name, "accepted", note, sheet_file(), trust_file(change))


def offer_of(size):
    """A sheet of about 1 MiB, of this size: purposes of characters that are written as six, and two that fill the rest."""
    def sized(rest):
        options = [option(f"o{i:03}", "t", purpose="\x01" * 4096) for i in range(42)]
        return bent(("options", options + [option("o998", "t", purpose="p" * 4000), option("o999", "t", purpose="p" * rest)]))
    return sized(size - len(sized(0)))


def file_faults():
    file = sheet_file()
    line, signature = file.split(b"\n")[:2]
    yield sheet("sheet-large", "file-too-large", "above 1,048,576 bytes, whatever it holds", b"x" * 1048577)
    yield sheet("large-sheet-most", "accepted", "1,048,576 bytes", offer_of(1048576))
    yield sheet("large-sheet", "file-too-large", "a good sheet of a byte more", offer_of(1048577))
    for name, data, note in (("sheet-kind", TRUST, "another kind of file"), ("sheet-format-2", file.replace(b"sheet/1", b"sheet/2", 1), "another format"),
                             ("sheet-empty", b"", "no byte"), ("sheet-mark", b"\xef\xbb\xbf" + file, "a byte order mark")):
        yield sheet(name, "type-wrong", note, data)
    nine = b"".join(sorted(f"{key_of(bytes([n]) * 32)} {'00' * 64}\n".encode() for n in range(101, 110)))
    for name, data, note in (
            ("sheet-no-signature", line + b"\n", "no signature"), ("sheet-nine", line + b"\n" + nine, "nine signatures"), ("sheet-no-end", file[:-1], "no line end at the end"),
            ("sheet-behind", file + b"\n", "an empty line"), ("sheet-cr", file.replace(b"\n", b"\r\n"), "CR before LF"), ("sheet-upper", line + b"\n" + signature.upper() + b"\n", "capital digits"),
            ("sheet-signature-twice", line + b"\n" + signature + b"\n" + signature + b"\n", "a signature twice"),
            ("sheet-signature-short", line + b"\n" + signature[:-1] + b"\n", "a digit too few")):
        yield sheet(name, "sheet-invalid", f"lines: {note}", data)
    two = sheet_file(secrets=(SHEET_KEY, SECOND_SHEET_KEY)).split(b"\n")
    yield sheet("sheet-signatures-exchanged", "sheet-invalid", "lines: signatures not ascending", b"\n".join([two[0], two[2], two[1], b""]))
    yield sheet("sheet-stranger", "signer-unknown", "check 1: a key that is not listed", sheet_file(secrets=(STRANGER_ROOT,)))
    yield sheet("sheet-stranger-beside", "signer-unknown", "check 1: one of two is not listed", sheet_file(secrets=(SHEET_KEY, STRANGER_ROOT)))
    yield sheet("sheet-root", "signer-unknown", "check 1: the root signs no sheets", sheet_file(secrets=(bytes([1]) * 32,)))
    yield sheet("sheet-bit", "signature-bad", "check 2: one digit of the line", flipped(file, 30))
    yield sheet("sheet-signature-bit", "signature-bad", "check 2: one digit of the signature", line + b"\n" + signature[:-1] + (b"1" if signature.endswith(b"0") else b"0") + b"\n")


def field_faults():
    many = [f"o{i:03}" for i in range(257)]
    for name, change, note in (
            ("sheet-number-0", ("number", 0), "number 0"), ("sheet-time", ("claimed_time", "2026-05-06"), "no time"), ("sheet-key-upper", ("parcel_key", "AB" * 32), "a key in capital digits"),
            ("sheet-options-many", ("options", [option(name, "an option") for name in many]), "257 options"), ("sheet-option-name", ("options", 0, "name", "Economy"), "an option that is no name"),
            ("sheet-option-title", ("options", 0, "title", "a\nb"), "a title that is no line"), ("sheet-option-purpose", ("options", 1, "purpose", "p" * 4097), "a purpose of 4,097 bytes"),
            ("sheet-option-more", lambda f: f["options"][0].update(note=""), "a key too many"), ("sheet-option-fewer", lambda f: f["options"][0].pop("purpose"), "a key too few"),
            ("sheet-option-controllers", ("options", 0, "controllers", []), "an option of no controller"), ("sheet-option-fuel", ("options", 1, "requires", "fuel", ["E 85"]), "a fuel that is no name"),
            ("sheet-questions-many", ("questions", [question(f"q{i}", "?") for i in range(65)]), "65 questions"), ("sheet-question-kind", ("questions", 3, "kind", "date"), "an unknown kind"),
            ("sheet-question-states", ("questions", 0, "states", "colour"), "what no question states"), ("sheet-question-required", ("questions", 0, "required", 1), "a number for a boolean"),
            ("sheet-question-text", ("questions", 0, "text", "t" * 201), "a line of 201 bytes"), ("sheet-choices-many", ("questions", 0, "choices", choices(65)), "65 choices"),
            ("sheet-choice-name", ("questions", 0, "choices", 0, "name", ""), "a choice without a name"), ("sheet-reads-many", ("reads", [
                {"controller": f"c{i:02}", "title": "", "memories": [{"name": "flash", "size": 0}], "again": False} for i in range(17)]), "17 reads"),
            ("sheet-memories-none", ("reads", 0, "memories", []), "a read of no memory"), ("sheet-memories-many", ("reads", 0, "memories", [{"name": f"m{i}", "size": 0} for i in range(17)]), "17 memories"),
            ("sheet-memory-size", ("reads", 0, "memories", 0, "size", -1), "a negative size"), ("sheet-again", ("reads", 0, "again", "yes"), "a text for a boolean"),
            ("sheet-cautions-many", ("cautions", [f"Caution {i}." for i in range(65)]), "65 cautions"), ("sheet-caution-line", ("cautions", 0, "a\x00b"), "a caution that is no line")):
        yield sheet(name, "sheet-invalid", f"check 3: {note}", bent(change))
    signed = sheet_file().split(b"\n")[0]
    for name, text, note in (("sheet-space", signed.replace(b",", b", ", 1), "a space"), ("sheet-repeated", signed.replace(b'"number":3', b'"number":3,"number":3'), "a key twice"),
                             ("sheet-exchanged", signed.replace(b'"required":true,"choices"', b'"choices"', 1), "a key too few in a question"), ("sheet-cut", signed[:-1], "cut off"),
                             ("sheet-escape", signed.replace(b"Petrol", b"P\\u0065trol"), "an escape that is not needed")):
        yield sheet(name, "sheet-invalid", f"check 3: {note}", signed_again(text))


def signed_again(line, secret=SHEET_KEY):
    return line + b"\n" + f"{key_of(secret)} {ed25519.sign(secret, line).hex()}\n".encode("ascii")


def order_faults():
    for name, change, note in (
            ("sheet-options-order", lambda f: f["options"].reverse(), "options not ascending"), ("sheet-option-twice", lambda f: f["options"].insert(0, copy.deepcopy(f["options"][0])), "an option twice"),
            ("sheet-option-controllers-order", lambda f: f["options"][2]["controllers"].reverse(), "an option's controllers not ascending"),
            ("sheet-option-hardware-order", lambda f: f["options"][2]["requires"]["hardware"].reverse(), "an option's hardware not ascending"),
            ("sheet-option-hardware-twice", ("options", 2, "requires", "hardware", ["tow-bar", "tow-bar"]), "hardware twice"),
            ("sheet-option-excludes-order", ("options", 0, "excludes", "options", ["towing", "ethanol"]), "excluded options not ascending"),
            ("sheet-requires-unknown", ("options", 0, "requires", "options", ["launch"]), "requires what is not on the sheet"),
            ("sheet-requires-itself", ("options", 0, "requires", "options", ["economy"]), "requires itself"),
            ("sheet-excludes-itself", ("options", 0, "excludes", "options", ["economy"]), "excludes itself"),
            ("sheet-requires-constructor", ("options", 0, "requires", "options", ["constructor"]), "requires a name that every object of JavaScript has"),
            ("sheet-excludes-unknown", ("options", 0, "excludes", "options", ["launch", "towing"]), "excludes what is not on the sheet"),
            ("sheet-question-twice", ("questions", 3, "name", "fuel"), "a question's name twice"), ("sheet-choice-one", lambda f: f["questions"][0]["choices"].pop(), "a choice of one"),
            ("sheet-choice-none", ("questions", 0, "choices", []), "a choice of none"), ("sheet-choice-twice", ("questions", 0, "choices", 1, "name", "e85"), "a choice's name twice"),
            ("sheet-number-choices", ("questions", 2, "choices", choices(2)), "a number with choices"), ("sheet-text-choices", ("questions", 3, "choices", choices(1)), "a text with a choice"),
            ("sheet-number-states", ("questions", 2, "states", "fuel"), "a number that states a fuel"), ("sheet-text-states", ("questions", 3, "states", "hardware"), "a text that states hardware"),
            ("sheet-reads-order", lambda f: f["reads"].reverse(), "reads not ascending"), ("sheet-reads-twice", lambda f: f["reads"].append(copy.deepcopy(f["reads"][1])), "a controller twice"),
            ("sheet-memory-twice", ("reads", 0, "memories", 1, "name", "flash"), "a memory's name twice")):
        yield sheet(name, "sheet-invalid", f"check 3: {note}", bent(change))
    for i, encoding in enumerate(sorted(x25519.SMALL), 1):
        yield sheet(f"sheet-key-small-{i}", "sheet-invalid", "check 3: a parcel key of small order", bent(("parcel_key", encoding.hex())))
    yield sheet("sheet-key-small-top-bit", "sheet-invalid", "check 3: also with the top bit set", bent(("parcel_key", "01" + "00" * 30 + "80")))


def key_faults():
    file = sheet_file()
    yield sheet("sheet-other-root", "sheet-invalid", "check 4: another root", bent(("root", key_of(STRANGER_ROOT))))
    yield sheet("sheet-old-root", "sheet-invalid", "check 4: a root before this one", bent(("root", key_of(OLD_ROOTS[0]))))
    for name, expect, change, note in (
            ("sheet-compromised", "key-compromised", {"state": "compromised"}, "check 5: a compromised key"), ("sheet-role", "roles-missing", {"roles": ["withdrawal"]}, "check 6: another role"),
            ("sheet-jobs", "key-scope", {"jobs": ["oak-17"]}, "check 7: a key for one job"), ("sheet-controllers", "key-scope", {"controllers": ["engine"]}, "check 7: a key for one controller"),
            ("sheet-too-early", "key-validity", {"valid_from": "2026-05-06T07:08:10Z"}, "check 8: a second too early"),
            ("sheet-too-late", "key-validity", {"valid_until": "2026-05-06T07:08:09Z"}, "check 8: valid until that second, exclusive")):
        yield sheet(name, expect, note, file, trust_file(lambda key, change=change: key.update(change)))
    yield sheet("sheet-author-beside", "roles-missing", "check 6: one of two has another role", sheet_file(secrets=(SHEET_KEY, AUTHOR)))


def two_sheet_faults():
    def keys(**change):
        return trust_file(lambda key: key.update(change))
    broken = signed_again(sheet_file().split(b"\n")[0][:-1])
    other_root = bent(("root", key_of(STRANGER_ROOT)))
    for name, expect, file, trust, note in (
            ("both-sheet-lines", "type-wrong", b"{}", TRUST, "literal before lines"), ("both-sheet-signer", "sheet-invalid", sheet_file(secrets=(STRANGER_ROOT,))[:-1], TRUST, "lines before signers"),
            ("both-sheet-unknown-bad", "signer-unknown", flipped(sheet_file(secrets=(SHEET_KEY, STRANGER_ROOT)), 30), TRUST, "every key id before any signature"),
            ("both-sheet-seal", "signature-bad", flipped(broken, 30), TRUST, "signatures before JSON"), ("both-sheet-json", "sheet-invalid", broken, keys(state="compromised"), "JSON before the state of keys"),
            ("both-sheet-root", "sheet-invalid", other_root, keys(state="compromised"), "the root before the state of keys"),
            ("both-sheet-state", "key-compromised", sheet_file(), keys(state="compromised", roles=["author"]), "state before role"),
            ("both-sheet-role", "roles-missing", sheet_file(), keys(roles=["author"], jobs=["oak-17"]), "role before scope"),
            ("both-sheet-scope", "key-scope", sheet_file(), keys(jobs=["oak-17"], valid_until="2026-05-01T00:00:00Z"), "scope before validity")):
        yield sheet(name, expect, f"two faults: {note}", file, trust)


# ---- customer files

def customer(name, expect, note, file):
    return Row(name, expect, note, "customer", file, dict(NOT_GIVEN), [])


def lines(line):
    return line + b"\n" + sha256(line).encode("ascii") + b"\n"


def kept(**change):
    return lines(canonical({**customer_fields(), **change}).encode("utf-8"))


def receipt():
    return statement({"calseal": "receipt/1", "key": public(CUSTOMER).hex()}, [CUSTOMER]).decode("ascii")


def good_customers():
    salts = [{"job": f"job-{i:03}", "salt": noise(f"salt {i}", 32).hex()} for i in range(256)]
    for name, file, note in (
            ("kept", kept(), "one job's salt"), ("kept-new", kept(number=0, salts=[]), "before the first parcel"), ("kept-last-number", kept(number=2**40), "after the last possible parcel"),
            ("kept-256-salts", kept(salts=salts), "256 salts"), ("kept-receipts", kept(receipts=[receipt(), receipt()]), "receipts, line ends included; what they say is not judged here"),
            ("kept-1000-receipts", kept(receipts=["r"] * 1000), "1,000 receipts"), ("kept-long-receipt", kept(receipts=["r" * 4096]), "a receipt of 4,096 bytes")):
        yield customer(name, "accepted", note, file)


def kept_of(size):
    """A customer file of this size: receipts of characters that are written as six."""
    receipts = ["\x01" * 4096] * 680
    return kept(receipts=receipts, state="s" * (size - len(kept(receipts=receipts))))


def bad_customers():
    file = kept()
    yield customer("large-kept-most", "accepted", "16 MiB", kept_of(16 * 1048576))
    line = file.split(b"\n")[0]
    yield customer("kept-large", "file-too-large", "above 16 MiB, whatever it holds", b"x" * (16 * 1048576 + 1))
    for name, data, note in (
            ("kept-empty", b"", "no byte"), ("kept-kind", TRUST, "another kind of file"), ("kept-format-2", lines(line.replace(b"customer/1", b"customer/2")), "another format"),
            ("kept-one-line", line + b"\n", "no second line"), ("kept-no-end", file[:-1], "no line end at the end"), ("kept-behind", file + b"\n", "an empty line"),
            ("kept-cr", file.replace(b"\n", b"\r\n"), "CR before LF"), ("kept-digest", file[:-2] + (b"0" if file[-2:-1] != b"0" else b"1") + b"\n", "another digest"),
            ("kept-digest-upper", line + b"\n" + file.split(b"\n")[1].upper() + b"\n", "the digest in capital digits"),
            ("kept-digest-with-end", line + b"\n" + sha256(line + b"\n").encode() + b"\n", "the digest of the line with its LF"), ("kept-bit", flipped(file, 40), "one digit"),
            ("kept-space", lines(line.replace(b",", b", ", 1)), "a space"), ("kept-cut", lines(line[:-1]), "cut off"), ("kept-escape", lines(line.replace(b"oak", b"o\\u0061k")), "an escape that is not needed"),
            ("kept-more", lines(line[:-1] + b',"more":1}'), "a key too many"), ("kept-fewer", lines(line.replace(b'"state":"",', b"")), "a key too few"),
            ("kept-exchanged", lines(line.replace(b'"state":"",', b"").replace(b'"salts"', b'"state":"","salts"')), "two keys exchanged"), ("kept-null", lines(line.replace(b'""', b"null")), "null"),
            ("kept-seed-short", kept(seed="31" * 31), "a short seed"), ("kept-seed-upper", kept(seed="AB" * 32), "a seed in capital digits"), ("kept-number", kept(number=2**40 + 1), "a number above 2^40"),
            ("kept-number-text", kept(number="7"), "a text for a number"), ("kept-salts-many", kept(salts=[{"job": f"j{i:03}", "salt": "00" * 32} for i in range(257)]), "257 salts"),
            ("kept-salts-order", kept(salts=[{"job": "oak-17", "salt": "00" * 32}, {"job": "elm-3", "salt": "00" * 32}]), "salts not ascending"),
            ("kept-salt-twice", kept(salts=[{"job": "oak-17", "salt": "00" * 32}, {"job": "oak-17", "salt": "11" * 32}]), "a job twice"),
            ("kept-salt-short", kept(salts=[{"job": "oak-17", "salt": "00"}]), "a short salt"), ("kept-job", kept(salts=[{"job": "Oak 17", "salt": "00" * 32}]), "a job that is no name"),
            ("kept-receipts-many", kept(receipts=["r"] * 1001), "1,001 receipts"), ("kept-receipt-long", kept(receipts=["r" * 4097]), "a receipt of 4,097 bytes"),
            ("kept-state-list", kept(state=[]), "a list for a text")):
        yield customer(name, "customer-file-invalid", note, data)
    yield customer("kept-state-long", "customer-file-invalid", "a state above 8 MiB", kept(state="s" * (8 * 1048576 + 1)))


def rows():
    for part in (good_sheets, file_faults, field_faults, order_faults, key_faults, two_sheet_faults, good_customers, bad_customers):
        yield from part()
