"""Rows of fixtures/parcels for a parcel alone: docs/parcel.md, checks 1 to 7 and what must fit together."""

import collections
import struct
import zlib

import ed25519
from fixed_deflate import deflated
from framing import local_header
from parcel import SIGNATURE
from parcel_writer import CUSTOMER, OTHER_CUSTOMER, Draft, noise, sheet_file
from refused import sha256
from writer import archive

Row = collections.namedtuple("Row", "name expect note kind file given cautions")
NOT_GIVEN = {"parcel_key": None, "trust": None, "successions": [], "sheet": None, "job": "", "vehicle_reference": "", "earlier": [],
             "customer_changed": False}
SHEET = sha256(sheet_file().split(b"\n")[0])
DRIVE = b"time,speed,boost\n" + b"".join(b"%d.%d,52,101\n" % (i // 10, i % 10) for i in range(40))
# DRIVE under dynamic codes, as zlib wrote it at level 9.
DYNAMIC = bytes.fromhex(
    "45cd3b0a84400044c17ccf322cd3dd7eaf234e60200a7a7f3491975556f7b6b7729dadad65398eebfed57f2dbd8baa5e0a1a0676b087031ce104e78f62139bd8c42636b1894d"
    "6c62139bd9cc6636b399cd6c66339bd9cc16b6b0852d6c610b5bd8c216b6b03d")
BLANK = noise("begin", 64) + b"\xff" * 1936


def parcel(name, expect, note, file, cautions=(), **given):
    return Row(name, expect, note, "parcel", file, {**NOT_GIVEN, **given}, list(cautions))


def small(secret=CUSTOMER, **fields):
    """A read of 64 bytes and a word: the parcel that most rows bend."""
    return Draft(secret, **{"words": "Idles badly when cold.", **fields}).read(noise("small", 64))


def two(secret=CUSTOMER, **fields):
    return small(secret, **fields).read(BLANK, memory="eeprom", file_name="eeprom.bin", deflate=True)


def ordered(**fields):
    return small(**{"sheet": SHEET, "order": ["economy", "ethanol"], "answers": [{"question": "fuel", "answer": "e85"}, {"question": "mileage", "answer": "120000"}],
                    "accepted": ["A tuned engine may want other service.", "Pulls less below 2000/min.", "Starts worse in the cold.", "Wants its own oil."],
                    **fields})


# ---- parcels to accept

def accepted():
    def good(name, note, draft, **given):
        return parcel(name, "accepted", note, draft.sealed(), **given)
    yield good("words", "nothing but words", Draft(words="It pulls to the left; is that yours?"))
    yield good("stored", "one stored read", Draft().read(noise("stored", 512)))
    yield good("deflated", "one deflated read", Draft().read(BLANK, deflate=True))
    yield good("log", "nothing but a deflated log", Draft().log(DRIVE, deflate=True))
    yield good("log-dynamic-codes", "a deflated log under dynamic codes", streamed(DRIVE, DYNAMIC))
    yield good("log-of-a-revision", "a stored log that names the revision driven", Draft().log(DRIVE, sha256(b"revision")))
    yield good("two-controllers", "reads of two controllers, with the same memory names", Draft().read(noise("engine", 512)).read(
        noise("gearbox", 256), "transmission", file_name="tcu.bin"))
    yield good("second-read", "a second read of the same memory", Draft().read(noise("again", 512)).read(noise("again", 512), series=2))
    yield good("series-to-16", "sixteen reads of one memory; another's first read is between them", sixteen())
    yield good("second-read-later", "the second read does not lie next to the first", Draft().read(noise("again", 64)).read(
        noise("eeprom", 64), memory="eeprom").read(noise("again", 64), series=2))
    yield good("unnamed", "two reads of which nobody said what they are", Draft().read(noise("a", 64), "", "").read(noise("b", 64), "", ""))
    yield good("unnamed-memories", "two reads of a controller, memories not named", Draft().read(noise("a", 64), "engine", "").read(noise("b", 64), "engine", ""))
    yield good("empty-read", "a read without a byte", Draft().read(b""))
    yield good("order", "an order with answers and cautions", ordered())
    yield good("order-alone", "an order is something", Draft(sheet=SHEET, order=["towing"]))
    yield good("findings", "two reads with findings, codes ascending", two().bend(lambda f, _: f.update(findings=[
        {"entry": "reads/1.bin", "code": "cut-off"}, {"entry": "reads/1.bin", "code": "size"}, {"entry": "reads/2.bin", "code": "blank"}])))
    yield good("everything", "every field filled", everything())
    yield good("no-root", "for no shop in particular", small(root=""))
    yield good("escapes", "words with every kind of character", small(words="\"\\\b\t\n\f\r\x01\x1f/\x7f\u0080\u2028\U0001f697 caf\u00e9"))
    yield good("number-last", "the largest number", small(number=2**40))
    yield good("longest-line", "200 bytes of file name", Draft().read(noise("small", 64), file_name="\u00e9" * 100))
    yield good("longest-words", "65,536 bytes of words", Draft(words="word " * 13107 + "w"))
    yield good("most-entries", "64 reads and 64 logs", most())
    yield good("names-of-objects", "names that every object of JavaScript has already", Draft(
        sheet=SHEET, job="constructor", order=["constructor", "valueof"], answers=answers(("constructor", "constructor"), ("hasownproperty", "1"))).read(
            noise("a", 64), "constructor", "constructor").read(noise("a", 64), "constructor", "constructor", 2))
    yield good("order-of-256", "an order of 256 options", Draft(sheet=SHEET, order=[f"o{i:03}" for i in range(256)]))


def streamed(content, inside):
    """A log whose stream is this one."""
    def bend(fields, stored):
        stored[0] = inside
        fields["entries"][0].update(stored_size=len(inside), stored_digest=sha256(inside))
    return Draft().log(content, deflate=True).bend(bend)


def sixteen():
    draft = Draft().read(noise("n", 16)).read(noise("m", 16), memory="eeprom")
    for series in range(2, 17):
        draft.read(noise("n", 16), series=series)
    return draft


def most():
    draft = Draft()
    for i in range(64):
        draft.read(bytes([i]), memory=f"m{i}")
    for i in range(64):
        draft.log(bytes([i, i]))
    return draft


def everything():
    draft = ordered(job="oak-17", number=12, findings=[{"entry": "reads/2.bin", "code": "blank"}])
    return draft.read(BLANK, memory="eeprom", file_name="eeprom.bin", deflate=True).read(noise("small", 64), series=2, file_name="read (2).bin").read(
        noise("gearbox", 300), "transmission", file_name="tcu.hex").log(DRIVE, sha256(b"revision"), "to work.csv", True).log(b"", "", "empty.log")


# ---- 1 and 2: before the signature

def with_header(file, at, layout, value):
    out = bytearray(file)
    out[at:at + struct.calcsize(layout)] = struct.pack(layout, value)
    return bytes(out)


def with_text(file, change):
    """parcel.json changed after it was signed, with its own CRC-32."""
    size = struct.unpack("<I", file[18:22])[0]
    text = change(file[41:41 + size])
    return local_header("parcel.json", False, zlib.crc32(text), len(text), len(text)) + text + file[41 + size:]


def signature_at(file):
    return 41 + struct.unpack("<I", file[18:22])[0]


def with_signature(file, change):
    """The signature changed, with its own CRC-32."""
    at = signature_at(file)
    name, signature = file[at + 30:at + 109].decode(), change(file[at + 109:at + SIGNATURE])
    return file[:at] + local_header(name, False, zlib.crc32(signature), 64, 64) + signature + file[at + SIGNATURE:]


def flipped(data, at, bits=1):
    out = bytearray(data)
    out[at] ^= bits
    return bytes(out)


def long_text(size):
    """A parcel whose parcel.json has this size: answers of characters that are written as six."""
    draft = Draft(sheet=SHEET, words="w", answers=answers(*((f"q{i}", "\x01" * 4096) for i in range(42))))
    draft.fields["words"] = "w" * (size + 1 - signature_at(draft.sealed()) + 41)
    return draft.sealed()


def size_and_beginning():
    file = small().sealed()
    yield parcel("size-empty", "parcel-invalid", "check 1: no byte", b"")
    yield parcel("size-97", "parcel-invalid", "check 1: 97 bytes", file[:97])
    yield parcel("size-98", "type-wrong", "check 1: 98 bytes are enough to be looked at", bytes(98))
    for name, at, layout, value, note in (
            ("begin-no-zip", 0, "<B", 0x51, "the first four bytes"), ("begin-version", 4, "<H", 20, "version needed 20"), ("begin-flags", 6, "<H", 0x800, "a flag"),
            ("begin-deflated", 8, "<H", 8, "parcel.json deflated"), ("begin-time", 10, "<H", 1, "a time"), ("begin-date", 12, "<H", 0x22, "another date"),
            ("begin-extra", 28, "<H", 4, "an extra field"), ("begin-name-length", 26, "<H", 12, "a longer name"), ("begin-name", 30, "<B", 0x50, "Parcel.json")):
        yield parcel(name, "type-wrong", f"check 2a: {note}", with_header(file, at, layout, value))
    yield parcel("begin-bundle", "type-wrong", "check 2a: a bundle's first entry", archive(file[41:signature_at(file)], [CUSTOMER], [], []))
    size = signature_at(file) - 41
    for name, changes, note in (
            ("first-size-0", ((18, 0), (22, 0)), "stored size 0"), ("first-too-large", ((18, 1048577), (22, 1048577)), "stored size above 1,048,576"),
            ("first-beyond", ((18, len(file)), (22, len(file))), "beyond the end of the file"), ("first-sizes", ((22, size + 1),), "size and stored size differ"), ("first-stored-size", ((18, size + 1),), "stored size and size differ"),
            ("first-crc", ((14, 0),), "CRC-32")):
        bent = file
        for at, value in changes:
            bent = with_header(bent, at, "<I", value)
        yield parcel(name, "parcel-invalid", f"check 2b: {note}", bent)
    yield parcel("large-parcel-json", "parcel-invalid", "check 2b: a good parcel.json of 1,048,577 bytes", long_text(1048577))
    yield parcel("large-parcel-json-most", "accepted", "check 2b: parcel.json of 1,048,576 bytes", long_text(1048576))
    yield parcel("first-byte", "parcel-invalid", "check 2b: a byte of parcel.json, without its CRC-32", flipped(file, 300))


def signatures():
    file = small().sealed()
    at = signature_at(file)
    one = file[at:at + SIGNATURE]
    other = small().sealed([OTHER_CUSTOMER])
    other = other[at:at + SIGNATURE]
    for name, bent, note in (
            ("signature-none", file[:at] + file[at + SIGNATURE:], "no signature"),
            ("signature-cut", file[:at + SIGNATURE - 1], "the file ends in it"),
            ("signature-folder", file[:at + 30] + b"Signatures" + file[at + 40:], "another name"),
            ("signature-upper", file[:at + 41] + one[41:105].upper() + file[at + 105:], "capital digits"),
            ("signature-ending", file[:at + 105] + b".asc" + file[at + 109:], "another ending"),
            ("signature-crc", flipped(file, at + 14), "its CRC-32"), ("signature-date", flipped(file, at + 12), "its date"),
            ("signature-size", flipped(file, at + 22), "its size"),
            ("signature-twice", file[:at] + one + file[at:], "twice the same"),
            ("signature-two", small().sealed([CUSTOMER, OTHER_CUSTOMER]), "a second one, by another key"),
            ("signature-two-second", file[:at + SIGNATURE] + other + file[at + SIGNATURE:], "another key's after the customer's")):
        yield parcel(name, "parcel-invalid", f"check 2c: {note}", bent)


def literal():
    def begun(change):
        return small().text(change).sealed()
    for name, expect, change, note in (
            ("literal-format-2", "format-unknown", lambda t: t.replace(b"parcel/1", b"parcel/2", 1), "a later format"),
            ("literal-format-12", "format-unknown", lambda t: t.replace(b"parcel/1", b"parcel/12", 1), "a much later format"),
            ("literal-order", "parcel-invalid", lambda t: t.replace(b'"key"', b'"Key"', 1), "another field where the key is"),
            ("literal-key-upper", "parcel-invalid", lambda t: t[:29] + t[29:93].upper() + t[93:], "a key in capital digits"),
            ("literal-key-long", "parcel-invalid", lambda t: t[:93] + b"0" + t[93:], "a key of 65 digits"),
            ("literal-key-last", "parcel-invalid", lambda t: t[:94] + b"}", "nothing behind the key"),
            ("literal-format-2-broken", "format-unknown", lambda t: b'{"calseal":"parcel/2"', "nothing behind it is read"),
            ("literal-revision", "type-wrong", lambda t: t.replace(b"parcel/1", b"revision/1", 1), "another kind of file"),
            ("literal-space", "type-wrong", lambda t: t.replace(b":", b": ", 1), "a space"),
            ("literal-mark", "type-wrong", lambda t: b"\xef\xbb\xbf" + t, "a byte order mark"),
            ("literal-short", "type-wrong", lambda t: b"{", "one byte")):
        yield parcel(name, expect, f"check 2d: {note}", begun(change))


WEAK = ("00" * 32, "01" + "00" * 31, "ec" + "ff" * 30 + "7f", "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a", "ed" + "ff" * 30 + "7f", "01" + "00" * 30 + "80", "f0" + "ff" * 31)


def keys():
    yield parcel("key-of-another", "parcel-invalid", "check 2e: signed by another key than parcel.json names", small().sealed([OTHER_CUSTOMER]))
    yield parcel("key-changed", "parcel-invalid", "check 2e: another key in parcel.json", small(key=ed25519.public_key(OTHER_CUSTOMER).hex()).sealed())
    for i, key in enumerate(WEAK, 1):
        file = small(key=key).sealed()
        at = signature_at(file)
        name = f"signatures/{ed25519.key_id(bytes.fromhex(key))}.sig"
        signature = file[at + 109:at + SIGNATURE]
        bent = file[:at] + local_header(name, False, zlib.crc32(signature), 64, 64) + signature + file[at + SIGNATURE:]
        yield parcel(f"key-weak-{i}", "key-weak", "check 2f: a key of small order, or none", bent)
    file, order = small().sealed(), 2**252 + 27742317777372353535851937790883648493
    for name, bent, note in (
            ("seal-bit", with_signature(file, lambda s: flipped(s, 5)), "one bit of the signature"),
            ("seal-not-reduced", with_signature(file, lambda s: s[:32] + (int.from_bytes(s[32:], "little") + order).to_bytes(32, "little")), "second half not reduced"),
            ("seal-of-another-parcel", with_signature(file, lambda s: ed25519.sign(CUSTOMER, b"another")), "of other bytes"),
            ("seal-word", with_text(file, lambda t: t.replace(b"badly", b"bxdly")), "a word changed")):
        yield parcel(name, "signature-bad", f"check 3: {note}", bent)


# ---- 4: the fields

def json_faults():
    for name, change, note in (
            ("json-cut", lambda t: t[:-1], "cut off"), ("json-behind", lambda t: t + b"\n", "a line end behind it"), ("json-not-utf8", lambda t: t.replace(b"badly", b"bad\xff"), "not UTF-8"),
            ("json-space", lambda t: t.replace(b',"number"', b', "number"'), "a space"), ("json-repeated", lambda t: t.replace(b'"tool"', b'"tool":"x","tool"'), "a key twice"),
            ("json-unknown", lambda t: t[:-1] + b',"more":1}', "a key too many"), ("json-missing", lambda t: t.replace(b'"tool":"tests",', b""), "a key too few"),
            ("json-key-order", lambda t: t.replace(b'"root":"",', b"").replace(b'"sheet":"",', b'"sheet":"","root":"",'), "two keys exchanged"),
            ("json-escape", lambda t: t.replace(b"badly", b"b\\u0061dly"), "an escape that is not needed"), ("json-solidus", lambda t: t.replace(b"badly", b"b\\/dly"), "an escaped solidus"),
            ("json-null", lambda t: t.replace(b'"sheet":""', b'"sheet":null'), "null"), ("json-negative", lambda t: t.replace(b'"number":1,', b'"number":-1,'), "a negative number"),
            ("json-fraction", lambda t: t.replace(b'"number":1,', b'"number":1.0,'), "a fraction"), ("json-text-number", lambda t: t.replace(b'"number":1,', b'"number":"1",'), "a text for a number"),
            ("json-surrogate", lambda t: t.replace(b"badly", b"bad\xed\xa0\xbd\xed\xba\x97"), "surrogates in UTF-8"), ("json-overlong", lambda t: t.replace(b"badly", b"bad\xc1\xac"), "an overlong form"),
            ("json-half-pair", lambda t: t.replace(b"badly", b"bad\\ud83d"), "half of an escaped pair"), ("json-escaped-pair", lambda t: t.replace(b"badly", b"bad\\ud83d\\ude97"), "an escaped pair"),
            ("json-escape-upper", lambda t: t.replace(b"badly", b"bad\\u001F"), "an escape in capital digits"), ("json-control", lambda t: t.replace(b"badly", b"bad\x1f"), "a control character as it is"),
            ("json-mark-inside", lambda t: t.replace(b'"number"', b'\xef\xbb\xbf"number"'), "a byte order mark between tokens"), ("json-leading-zero", lambda t: t.replace(b'"number":1,', b'"number":01,'), "a leading zero"),
            ("json-exponent", lambda t: t.replace(b'"number":1,', b'"number":1e0,'), "an exponent"), ("json-2-53", lambda t: t.replace(b'"number":1,', b'"number":9007199254740993,'), "2^53 + 1"),
            ("json-proto", lambda t: t[:-1] + b',"__proto__":{}}', "the key __proto__"), ("json-proto-first", lambda t: t.replace(b'"tool"', b'"__proto__":[],"tool"'), "the key __proto__ among the others"),
            ("json-deep", lambda t: t.replace(b'"order":[]', b'"order":' + b"[" * 40 + b"]" * 40), "too deep")):
        yield parcel(name, "parcel-invalid", f"check 4: {note}", small(root="").text(change).sealed())


def field_faults():
    for name, change, note in (
            ("field-number-0", {"number": 0}, "number 0"), ("field-number-large", {"number": 2**40 + 1}, "number above 2^40"), ("field-time", {"claimed_time": "2026-02-29T00:00:00Z"}, "a day that is not"),
            ("field-root", {"root": "ab"}, "a short key id"), ("field-sheet", {"sheet": "A" * 64}, "a digest in capital digits"), ("field-job", {"job": "Oak 17"}, "a job that is no name"),
            ("field-vehicle", {"vehicle_reference": "blue\nestate"}, "a control character in a line"), ("field-vehicle-long", {"vehicle_reference": "b" * 201}, "a line of 201 bytes"),
            ("field-words", {"words": "w" * 65537}, "words of 65,537 bytes"), ("field-tool", {"tool": 1}, "a number for a line"), ("field-words-list", {"words": ["a"]}, "a list for a text"),
            ("field-order-many", {"sheet": SHEET, "order": [f"o{i:03}" for i in range(257)]}, "257 options"), ("field-order-name", {"sheet": SHEET, "order": ["Towing"]}, "an option that is no name"),
            ("field-answers-many", {"sheet": SHEET, "answers": [{"question": f"q{i}", "answer": "a"} for i in range(65)]}, "65 answers"),
            ("field-answer-long", {"sheet": SHEET, "answers": [{"question": "wish", "answer": "a" * 4097}]}, "an answer of 4,097 bytes"),
            ("field-answer-number", {"sheet": SHEET, "answers": [{"question": "mileage", "answer": 120000}]}, "an answer that is a number"),
            ("field-accepted-many", {"sheet": SHEET, "accepted": [f"caution {i}" for i in range(1025)]}, "1,025 cautions"),
            ("field-accepted-line", {"sheet": SHEET, "accepted": ["a\tb"]}, "a caution that is no line")):
        yield parcel(name, "parcel-invalid", f"check 4: {note}", small(**change).sealed())
    for name, change, note in (
            ("field-series-0", {"series": 0}, "series 0"), ("field-series-17", {"series": 17}, "series 17"), ("field-controller", {"controller": "Engine"}, "a controller that is no name"),
            ("field-memory", {"memory": "flash 1"}, "a memory that is no name"), ("field-file-name", {"file_name": "a\x7f.bin"}, "a control character in the file's name"),
            ("field-file-name-long", {"file_name": "a" * 201}, "a file's name of 201 bytes"), ("field-read-more", {"size": 64}, "a key too many in a read")):
        yield parcel(name, "parcel-invalid", f"check 4: {note}", small().bend(lambda f, _, change=change: f["reads"][0].update(change)).sealed())
    yield parcel("field-revision", "parcel-invalid", "check 4: a log's revision that is no digest", small().log(DRIVE, "12").sealed())
    draft = Draft()
    for i in range(65):
        draft.read(bytes([i]), memory=f"m{i}")
    yield parcel("field-reads-many", "parcel-invalid", "check 4: 65 reads", draft.sealed())
    draft = Draft()
    for i in range(65):
        draft.log(bytes([i]))
    yield parcel("field-logs-many", "parcel-invalid", "check 4: 65 logs", draft.sealed())
    yield parcel("field-findings-many", "parcel-invalid", "check 4: 449 findings", small().bend(lambda f, _: f.update(
        findings=[{"entry": "reads/1.bin", "code": f"c{i:03}"} for i in range(449)])).sealed())
    for name, change, note in (
            ("field-method", {"method": "packed"}, "an unknown method"), ("field-crc32", {"crc32": "0xABCDEF01"}, "a CRC-32 in capital digits"), ("field-content-large", {
                "method": "deflated", "size": 268435457, "stored_size": 268435456}, "a content above 268,435,456 bytes"), ("field-digest", {"digest": ""}, "no digest")):
        yield parcel(name, "parcel-invalid", f"check 4: {note}", small().bend(lambda f, _, change=change: f["entries"][0].update(change)).sealed())


# ---- 4: what must fit together

def answers(*pairs):
    return [{"question": question, "answer": answer} for question, answer in pairs]


def words_that_do_not_fit():
    for name, change, note in (
            ("fit-order", {"sheet": SHEET, "order": ["towing", "economy"]}, "1: order not ascending"), ("fit-order-twice", {"sheet": SHEET, "order": ["towing", "towing"]}, "1: an option twice"),
            ("fit-question-twice", {"sheet": SHEET, "answers": answers(("fuel", "e85"), ("fuel", "petrol"))}, "1: a question answered twice"),
            ("fit-answer-empty", {"sheet": SHEET, "answers": answers(("wish", ""))}, "1: an empty answer"), ("fit-order-no-sheet", {"order": ["towing"]}, "1: an order without a sheet"),
            ("fit-answer-no-sheet", {"answers": answers(("fuel", "e85"))}, "1: an answer without a sheet"), ("fit-accepted-no-sheet", {"accepted": ["A caution."]}, "1: a caution accepted without a sheet")):
        yield parcel(name, "parcel-invalid", f"fits {note}", small(**change).sealed())
    a, b = noise("a", 32), noise("b", 32)
    for name, draft, note in (
            ("fit-read-twice", Draft().read(a).read(b), "2: two first reads of one memory"), ("fit-second-alone", Draft().read(a, series=2), "2: a second read without a first"),
            ("fit-second-before", Draft().read(a, series=2).read(b), "2: the second read before the first"), ("fit-third", Draft().read(a).read(b, series=3), "2: a third read without a second"),
            ("fit-second-other-memory", Draft().read(a).read(b, memory="eeprom", series=2), "2: the first is of another memory"),
            ("fit-second-other-controller", Draft().read(a).read(b, "transmission", series=2), "2: the first is of another controller"),
            ("fit-second-twice", Draft().read(a).read(b, series=2).read(b, series=2), "2: two second reads"),
            ("fit-unnamed-second", Draft().read(a, "engine", "").read(b, "transmission", "", 2), "2: a second read, memory not named, of another controller"),
            ("fit-unnamed-controller-twice", Draft().read(a, "", "flash").read(b, "", "flash"), "2: one memory of an unnamed controller, read twice")):
        yield parcel(name, "parcel-invalid", f"fits {note}", draft.sealed())


def entries_that_do_not_fit():
    def exchanged(fields, stored):
        fields["entries"].reverse()
        stored.reverse()

    def renamed(name, entry):
        def bend(fields, _):
            fields["entries"][0]["name"] = entry
            if name == "both":
                fields["reads"][0]["entry"] = entry
        return bend

    def claim(**change):
        return lambda fields, _: fields["entries"][0].update(change)

    def without(what):
        return lambda fields, stored: (fields[what].pop(), stored.pop() if what == "entries" else None)
    for name, draft, bend, note in (
            ("fit-entry-missing", two(), without("entries"), "an entry too few"), ("fit-entry-more", two(), without("reads"), "an entry too many"), ("fit-entries-exchanged", two(), exchanged, "entries in another order"),
            ("fit-log-first", small().log(DRIVE), exchanged, "the log before the read"), ("fit-entry-name", small(), renamed("entry", "reads/2.bin"), "the first read is reads/1.bin"),
            ("fit-entry-name-both", small(), renamed("both", "reads/2.bin"), "also where both names say the other"), ("fit-entry-path", small(), renamed("both", "../reads/1.bin"), "a path"),
            ("fit-read-entry", small(), lambda f, _: f["reads"][0].update(entry="reads/2.bin"), "a read that names another entry"),
            ("fit-log-entry", Draft().log(DRIVE), lambda f, _: f["logs"][0].update(entry="logs/2.log"), "a log that names another entry"),
            ("fit-reads-exchanged", two(), lambda f, _: f["reads"].reverse(), "reads in another order than their numbers"), ("fit-entry-zero", small(), renamed("both", "reads/01.bin"), "a leading zero"), ("fit-log-name", Draft().log(DRIVE), renamed("entry", "logs/1.csv"), "a log is logs/1.log"),
            ("fit-stored-size", small(), claim(stored_size=63), "stored, with two sizes"), ("fit-stored-digest", small(), claim(stored_digest=sha256(b"")), "stored, with two digests"),
            ("fit-deflated-longer", Draft().read(noise("x", 40), deflate=True), lambda *_: None, "deflated, and not smaller"),
            ("fit-deflated-ratio", Draft().read(BLANK, deflate=True), lambda f, s: f["entries"][0].update(size=1032 * len(s[0]) + 1), "more than 1,032 for each stored byte"),
            ("fit-deflated-nothing", Draft().read(b"", deflate=True), lambda *_: None, "nothing, deflated")):
        yield parcel(name, "parcel-invalid", f"fits 3: {note}", draft.bend(bend).sealed())

    def huge(fields, _):
        for entry in fields["entries"]:
            entry.update(method="deflated", size=200000000, stored_size=200000)
    def largest(fields, _):
        for entry in fields["entries"]:
            entry.update(method="deflated", size=268435456, stored_size=300000)
    even = next(content for content in (noise("even", 40) + bytes(n) for n in range(40)) if len(deflated(content)) == len(content))
    yield parcel("fit-deflated-even", "parcel-invalid", "fits 3: deflated, and as long as before", Draft().read(even, deflate=True).sealed())
    yield parcel("fit-deflated-ratio-most", "content-digest", "fits 3: 1,032 for each stored byte are enough to be looked at; the stream has less", Draft().read(BLANK, deflate=True).bend(
        lambda f, s: f["entries"][0].update(size=1032 * len(s[0]))).sealed())
    yield parcel("fit-contents-most", "framing-damaged", "fits 3: contents of 268,435,456 and of 536,870,912 bytes together keep to the limit; the file holds no such entries", two().bend(largest).sealed())
    yield parcel("fit-contents-large", "parcel-invalid", "fits 3: contents of 600,000,000 bytes together", two().log(DRIVE).bend(huge).sealed())


def found(*pairs):
    return lambda fields, _: fields.update(findings=[{"entry": entry, "code": code} for entry, code in pairs])


def findings_that_do_not_fit():
    one, other = "reads/1.bin", "reads/2.bin"
    for name, bend, note in (
            ("fit-finding-nothing", found(("reads/3.bin", "blank")), "an entry that is not there"), ("fit-finding-log", found(("logs/1.log", "blank")), "a log"),
            ("fit-finding-order", found((other, "blank"), (one, "blank")), "the second read before the first"), ("fit-finding-codes", found((one, "size"), (one, "blank")), "codes descending"),
            ("fit-finding-twice", found((one, "blank"), (one, "blank")), "a code twice")):
        yield parcel(name, "parcel-invalid", f"fits 4: {note}", two().log(DRIVE).bend(bend).sealed())
    yield parcel("fit-nothing", "parcel-invalid", "fits 5: nothing in it", Draft().sealed())
    yield parcel("fit-answers-alone", "parcel-invalid", "fits 5: answers alone are nothing", Draft(sheet=SHEET, answers=answers(("fuel", "e85"))).sealed())


# ---- 5 to 7

def parts(file):
    """Offsets: of each local header, of the central directory, of the end record."""
    directory = struct.unpack("<I", file[-6:-2])[0]
    at, places = 0, []
    while at < directory:
        places.append(at)
        at += 30 + struct.unpack("<H", file[at + 26:at + 28])[0] + struct.unpack("<I", file[at + 18:at + 22])[0]
    return places, directory, len(file) - 22


def framing():
    file = two().sealed()
    places, directory, end = parts(file)
    third, fourth = places[2], places[3]
    for name, bent, note in (
            ("frame-appended", file + b"\x00", "a byte appended"), ("frame-cut", file[:-1], "the last byte cut off"), ("frame-cut-in-content", file[:third + 60], "cut in a content"),
            ("frame-cut-in-directory", file[:directory + 50], "cut in the directory"), ("frame-name", flipped(file, third + 30), "an entry's name"), ("frame-crc", flipped(file, third + 14), "an entry's CRC-32"),
            ("frame-size", flipped(file, third + 22), "an entry's size"), ("frame-date", flipped(file, third + 12), "an entry's date"), ("frame-method", flipped(file, fourth + 8, 8), "an entry's method"),
            ("frame-exchanged", file[:third] + file[fourth:directory] + file[third:fourth] + file[directory:], "two entries exchanged"),
            ("frame-gap", file[:fourth] + b"\x00" + file[fourth:], "a byte between entries"), ("frame-central-time", flipped(file, directory + 12), "a time in the directory"),
            ("frame-central-offset", flipped(file, directory + 42), "an offset in the directory"), ("frame-count", flipped(file, end + 8), "the number of entries"),
            ("frame-comment", file[:-2] + b"\x01\x00c", "a comment"), ("frame-before-directory", file[:directory] + b"PK" + file[directory:], "bytes before the directory")):
        yield parcel(name, "framing-damaged", f"check 5: {note}", bent)
    yield parcel("stored-bit", "stored-digest", "check 6: a bit of a stored entry", flipped(file, fourth - 1))
    yield parcel("stored-bit-deflated", "stored-digest", "check 6: a bit of a deflated entry", flipped(file, directory - 1))


def stream(inside, **claims):
    """A deflated read whose stored bytes are others; the entry says so."""
    def bend(fields, stored):
        stored[0] = inside
        fields["entries"][0].update({"stored_size": len(inside), "stored_digest": sha256(inside), **claims})
    return Draft().read(BLANK, deflate=True).bend(bend)


def contents():
    honest = deflated(BLANK)
    for name, draft, note in (
            ("content-broken", stream(b"\x07" + honest[1:]), "a block of a kind that does not exist"), ("content-cut", stream(honest[:-1]), "the stream is cut off"),
            ("content-trailing", stream(honest + b"\x00"), "a byte behind the stream"), ("content-too-long", stream(deflated(BLANK + b"\xff")), "more than the size"),
            ("content-too-short", stream(deflated(BLANK[:-1])), "less than the size"), ("content-other", stream(deflated(BLANK[:-1] + b"\xfe")), "other bytes"),
            ("content-zlib", stream(zlib.compress(BLANK)), "a zlib header"),
            ("content-crc32", small().bend(lambda f, _: f["entries"][0].update(crc32="0x00000000")), "a stored entry with a false CRC-32"),
            ("content-digest", stream(honest, digest=sha256(b"")), "a false digest"), ("content-second", two().bend(lambda f, _: f["entries"][1].update(digest=sha256(b""))), "of the second entry")):
        yield parcel(name, "content-digest", f"check 7: {note}", draft.sealed())


def rows():
    for part in (accepted, size_and_beginning, signatures, literal, keys, json_faults, field_faults, words_that_do_not_fit, entries_that_do_not_fit,
                 findings_that_do_not_fit, framing, contents):
        yield from part()
