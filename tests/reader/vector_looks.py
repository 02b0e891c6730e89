"""Rows of fixtures/parcels/looks.json: docs/parcel.md, "Looking at the reads", at the edges of each code."""

import collections

from parcel_writer import noise as writer_noise

Look = collections.namedtuple("Look", "name reads sizes expect note")
HEX_LINE = ":0B0010006164647265737320676170A7\n"
S_LINE = "S1137AF00A0A0D0000000000000000000000000061\n"
BLOCK = 4096


def noise(size, name="a"):
    return ["noise", name, size]


def fill(digits, size):
    return ["fill", digits, size]


def read(*pieces, controller="engine", memory="flash", series=1):
    return {"controller": controller, "memory": memory, "series": series, "content": list(pieces)}


def one(name, note, codes, *pieces, sizes=()):
    return Look(name, [read(*pieces)], list(sizes), [f"reads/1.bin {code}" for code in codes], note)


def edited(count, size):
    """Noise whose first bytes are inverted, so many of them."""
    return ["edit", [noise(size)], 0, bytes(byte ^ 0xFF for byte in writer_noise("a", count)).hex()]


def sizes_and_ends():
    yield one("empty", "no bytes", ["empty"])
    yield one("empty-sized", "no bytes, and the sheet says a size: an empty read gets no other code", ["empty"], sizes=["engine.flash=512"])
    yield one("size-right", "the size that the sheet says", [], noise(512), sizes=["engine.flash=512"])
    yield one("size-short", "a byte too few", ["size"], noise(511), sizes=["engine.flash=512"])
    yield one("size-long", "a byte too many", ["size"], noise(513), sizes=["engine.flash=512"])
    yield one("size-odd", "a size that is no multiple of 1,024, as the sheet says", [], noise(1000), sizes=["engine.flash=1000"])
    yield one("size-0", "size 0: not known beforehand", [], noise(2048), sizes=["engine.flash=0"])
    yield one("size-of-others", "sizes of another controller and another memory", [], noise(2048), sizes=["engine.eeprom=64", "transmission.flash=512"])
    yield one("size-records", "records: no raw file", [], ["text", HEX_LINE], ["text", ":00000001FF\n"], sizes=["engine.flash=512"])
    yield Look("size-of-constructor", [read(noise(2048), controller="constructor", memory="constructor")], ["engine.flash=512"], [], "a name that every object of JavaScript has")
    yield one("cut-1023", "1,023 bytes", ["cut-off"], noise(1023))
    yield one("cut-1024", "1,024 bytes", [], noise(1024))
    yield one("cut-1025", "1,025 bytes", ["cut-off"], noise(1025))
    yield one("cut-0-said", "size 0 says no size", ["cut-off"], noise(1025), sizes=["engine.flash=0"])
    yield one("cut-of-others", "the sheet says the size of another memory", ["cut-off"], noise(1025), sizes=["engine.eeprom=1025"])
    yield one("cut-large", "3 MiB less one byte", ["cut-off"], noise(100000), fill("5a", 3045727))


def records():
    yield one("records-hex", "Intel HEX", [], ["text", HEX_LINE], ["text", ":00000001FF\n"])
    yield one("records-s", "S-records", [], ["text", S_LINE], ["text", "S9030000FC\n"])
    yield one("records-lower", "hexadecimal digits in lower case", [], ["text", HEX_LINE.lower()])
    yield one("records-empty-lines", "empty lines first", [], ["text", "\r\n\n" + HEX_LINE])
    yield one("records-cr", "lines that end in CR", [], ["text", HEX_LINE.replace("\n", "\r")])
    yield one("records-then-bytes", "the first line is a whole record; what follows does not matter", [], ["text", HEX_LINE], ["fill", "80", 1000])
    yield one("records-end-first", "the first line is a record without a byte", [], ["text", ":00000001FF\n"], fill("80", 200))
    yield one("records-checksum", "a wrong checksum, but nothing except record text", [], ["text", HEX_LINE.replace("A7", "A8")])
    yield one("records-more-than-half", "33 bytes of text before 32 others", [], ["text", HEX_LINE.replace("A7", "A8")[:33]], fill("80", 32))
    yield one("records-half", "33 bytes of text before 33 others", ["cut-off"], ["text", HEX_LINE.replace("A7", "A8")[:33]], fill("80", 33))
    yield one("records-no-mark", "hexadecimal digits without a mark", ["cut-off"], ["text", "0B0010006164647265737320676170A7\n"])
    yield one("records-mark-inside", "a mark, but not at the beginning of a line", ["cut-off"], ["text", "00:0B0010006164647265737320676170A8\n"])
    yield one("records-mark-later", "a mark at the beginning of the second line", [], ["text", "0123\n:0B0010006164647265737320676170A8\n"])
    yield one("records-length", "the first line is longer than its count says", ["cut-off"], ["text", ":0B001000616464726573732067617000A7\n"], fill("80", 200))


def blanks():
    full, zero = fill("ff", BLOCK), fill("00", BLOCK)
    yield one("blank-ff", "one block of ff", ["blank"], full)
    yield one("blank-00", "one block of 00", ["blank"], zero)
    yield one("blank-55", "one block of 55", [], fill("55", BLOCK))
    yield one("blank-short-55", "shorter than a block, all of one value", ["blank", "cut-off"], fill("55", BLOCK - 1))
    yield one("blank-short-1024", "1,024 bytes of one value", ["blank"], fill("a5", 1024))
    yield one("blank-short-one-other", "shorter than a block, one byte is another", ["cut-off"], fill("ff", BLOCK - 2), ["hex", "fe"])
    yield one("blank-byte", "one byte", ["blank", "cut-off"], ["hex", "12"])
    yield one("blank-mixed", "blocks of 00 and blocks of ff", ["blank"], zero, full, full)
    yield one("blank-half-half", "a block half 00 and half ff", [], fill("00", 2048), fill("ff", 2048))
    yield one("blank-15-of-16", "15 of 16 blocks", [], ["times", 15, [full]], noise(BLOCK))
    yield one("blank-16-of-17", "16 of 17 blocks", ["blank"], ["times", 8, [full, zero]], noise(BLOCK))
    yield one("blank-30-of-32", "30 of 32 blocks", [], noise(BLOCK), ["times", 30, [full]], noise(BLOCK, "b"))
    yield one("blank-31-of-32", "31 of 32 blocks", ["blank"], ["times", 31, [full]], noise(BLOCK))
    yield one("blank-one-byte", "32 blocks, one byte in each of two is another", [], ["times", 2, [fill("ff", BLOCK - 1), ["hex", "00"]]], ["times", 30, [full]])
    yield one("blank-shifted", "a blank part that begins in the middle of a block: 15 whole blocks of 17", [], noise(100), ["times", 16, [full]], noise(BLOCK - 100, "b"))
    yield one("blank-rest", "what is left behind the last whole block is no block", ["blank"], full, noise(1024))
    yield one("blank-rest-blank", "a blank rest does not count either", [], ["times", 15, [full]], noise(BLOCK), fill("ff", 3072))
    yield one("blank-sized", "blank, and of another size than the sheet says", ["blank", "size"], full, sizes=["engine.flash=512"])


def repetitions():
    for count, size in ((2, 1024), (3, 1024), (4, 512), (5, 1024), (61, 1024), (64, 16)):
        yield one(f"repeated-{count}", f"{count} times {size} bytes", ["repeated"], ["times", count, [noise(size)]])
    yield one("repeated-67", "67 times 1,024 bytes: too many, and 67 is a prime", [], ["times", 67, [noise(1024)]])
    yield one("repeated-65", "65 times 1,024 bytes are 5 times 13,312", ["repeated"], ["times", 65, [noise(1024)]])
    yield one("repeated-128", "128 times 16 bytes are 64 times 32", ["repeated"], ["times", 128, [noise(16)]])
    yield one("repeated-two-bytes", "two bytes, twice", ["cut-off", "repeated"], ["text", "abab"])
    yield one("repeated-one-bit", "the last byte is another", [], ["edit", [["times", 2, [noise(1024)]]], 2047, "00"])
    yield one("repeated-not-whole", "two and a half times", [], ["times", 2, [noise(1024)]], ["noise", "a", 512], noise(512, "b"))
    yield one("repeated-blank", "two blank halves", ["blank"], ["times", 2, [fill("ff", BLOCK)]])
    yield one("repeated-blank-mostly", "each half is blank, 16 of 17 blocks", ["blank"], ["times", 2, [noise(BLOCK), ["times", 16, [fill("00", BLOCK)]]]])
    yield one("repeated-mostly-blank-not", "each half is not blank, 15 of 16 blocks", ["repeated"], ["times", 2, [noise(BLOCK), ["times", 15, [fill("00", BLOCK)]]]])
    yield one("repeated-55", "two blocks of 55: neither 00 nor ff, so a half is not blank", ["repeated"], fill("55", 2 * BLOCK))
    yield one("repeated-55-short", "parts shorter than a block, all of one value, are blank", [], fill("55", BLOCK))
    yield one("repeated-sized", "twice as long as the sheet says", ["repeated", "size"], ["times", 2, [noise(512)]], sizes=["engine.flash=512"])
    yield one("repeated-records", "the same record four times", ["repeated"], ["times", 4, [["text", HEX_LINE]]])


def others():
    same = noise(1024)
    yield Look("same-controller", [read(same), read(same, controller="transmission")], [], ["reads/1.bin same", "reads/2.bin same"], "the same bytes of two controllers")
    yield Look("same-memory", [read(same), read(same, memory="eeprom")], [], ["reads/1.bin same", "reads/2.bin same"], "the same bytes of two memories")
    yield Look("same-again", [read(same), read(same, series=2)], [], [], "a second read of the same memory should be the same")
    yield Look("same-one-byte", [read(same), read(["edit", [same], 5, "0000"], memory="eeprom")], [], [], "two bytes differ")
    yield Look("same-prefix", [read(same), read(noise(2048), memory="eeprom")], [], [], "one is the beginning of the other")
    yield Look("same-two-of-three", [read(same), read(noise(1024, "b"), memory="eeprom"), read(same, controller="transmission")], [], ["reads/1.bin same", "reads/3.bin same"],
               "the first and the third")
    yield Look("same-second-read", [read(noise(1024, "b")), read(same, series=2), read(same, memory="eeprom")], [],
               ["reads/2.bin differs", "reads/2.bin same", "reads/3.bin same"], "the second read of one is another memory")
    yield Look("same-empty", [read(), read(memory="eeprom")], [], ["reads/1.bin empty", "reads/2.bin empty"], "two empty reads")
    yield Look("same-blank", [read(fill("ff", BLOCK)), read(fill("ff", BLOCK), memory="eeprom")], [],
               ["reads/1.bin blank", "reads/1.bin same", "reads/2.bin blank", "reads/2.bin same"], "two blank reads")
    for size, count, codes in ((64, 1, 0), (64, 2, 1), (128, 2, 0), (128, 3, 1), (1024, 16, 0), (1024, 17, 1), (1088, 17, 0), (1087, 17, 1), (127, 1, 0), (127, 2, 1)):
        cut = [] if size % 1024 == 0 else ["cut-off"]
        expect = [f"reads/1.bin {code}" for code in cut] + [f"reads/2.bin {code}" for code in cut + ["differs"] * codes]
        yield Look(f"differs-{count}-of-{size}", [read(edited(0, size)), read(edited(count, size), series=2)], [], expect, f"{count} of {size} bytes")
    yield Look("differs-size", [read(noise(2048)), read(noise(1024), series=2)], [], ["reads/2.bin differs"], "sizes differ")
    yield Look("differs-third", [read(edited(0, 1024)), read(edited(16, 1024), series=2), read(edited(17, 1024), series=3)], [], ["reads/3.bin differs"],
               "the third is compared with the first")
    yield Look("differs-later", [read(noise(1024)), read(noise(1024, "b"), memory="eeprom"), read(noise(1024, "b"), series=2)], [],
               ["reads/2.bin same", "reads/3.bin differs", "reads/3.bin same"], "the first read of the same memory, not the read before")
    yield Look("differs-not-other", [read(noise(1024, "b"), memory="eeprom"), read(noise(1024)), read(noise(1024), series=2)], [], [],
               "the first read of another memory does not matter")
    yield Look("differs-from-empty", [read(), read(noise(1024), series=2)], [], ["reads/1.bin empty", "reads/2.bin differs"], "the first read is empty")
    yield Look("differs-empty", [read(noise(1024)), read(series=2)], [], ["reads/2.bin empty"], "the second read is empty")
    yield Look("all-of-them", [read(noise(1024)), read(["times", 3, [noise(100)]], series=2), read(["times", 3, [noise(100)]], memory="eeprom")], ["engine.eeprom=512"],
               ["reads/2.bin cut-off", "reads/2.bin differs", "reads/2.bin repeated", "reads/2.bin same", "reads/3.bin repeated", "reads/3.bin same", "reads/3.bin size"],
               "several codes for one read, ascending")


def rows():
    for part in (sizes_and_ends, records, blanks, repetitions, others):
        yield from part()
