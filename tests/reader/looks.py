"""What the maker of a parcel sees in the reads (docs/parcel.md, "Looking at the reads")."""

import re

BLOCK = 4096
TEXT = bytes(range(256)).translate(None, b"0123456789abcdefABCDEF:S\r\n")  # what is no text of records


def is_whole_record(line):
    """docs/region-map.md, "Which form a file has": mark, hexadecimal digits, the length that its count states, a correct checksum."""
    mark, digits = line[:1], line[1:] if line[:1] == b":" else line[2:]
    if mark == b":":
        least, total = 5, 0
    elif re.match(rb"[Ss][0-9]", line):
        least, total = 1, 255
    else:
        return False
    if not re.fullmatch(rb"([0-9a-fA-F]{2})+", digits):
        return False
    record = bytes.fromhex(digits.decode("ascii"))
    return len(record) >= least and len(record) == record[0] + least and sum(record) % 256 == total


def holds_records(content):
    first = re.search(rb"[^\r\n]+", content)
    if first and is_whole_record(first.group()):
        return True
    text = len(content.translate(None, TEXT))
    return 2 * text > len(content) and re.search(rb"(?:^|[\r\n])[:S]", content) is not None


def is_blank(content):
    if len(content) < BLOCK:
        return len(set(content)) == 1
    blocks = [content[at:at + BLOCK] for at in range(0, len(content) - BLOCK + 1, BLOCK)]
    blank = sum(block in (b"\x00" * BLOCK, b"\xff" * BLOCK) for block in blocks)
    return 16 * blank > 15 * len(blocks)


def is_repeated(content):
    for count in range(2, 65):
        part = content[:len(content) // count]
        if part and len(content) % count == 0 and part * count == content and not is_blank(part):
            return True
    return False


def differs(content, first):
    return len(content) != len(first) or 64 * sum(a != b for a, b in zip(content, first)) > len(content)


def place(read):
    return read["controller"], read["memory"]


def codes_of(read, reads, sizes):
    content = read["content"]
    if not content:
        return ["empty"]
    size, raw = sizes.get(place(read), 0), not holds_records(content)
    others = [other for other in reads if other is not read]
    first = [other for other in others if place(other) == place(read) and other["series"] == 1]
    return [code for code, seen in (
        ("blank", is_blank(content)),
        ("cut-off", raw and size == 0 and len(content) % 1024 != 0),
        ("differs", read["series"] > 1 and first and differs(content, first[0]["content"])),
        ("repeated", is_repeated(content)),
        ("same", any(place(other) != place(read) and other["content"] == content for other in others)),
        ("size", raw and size != 0 and len(content) != size)) if seen]


def findings(reads, sizes):
    """reads: {"entry", "controller", "memory", "series", "content"}; sizes: (controller, memory) -> size of a raw file as the sheet says it."""
    return [{"entry": read["entry"], "code": code} for read in reads for code in codes_of(read, reads, sizes)]


def sizes_of(sheet):
    return {(read["controller"], memory["name"]): memory["size"] for read in sheet["reads"] for memory in read["memories"]}
