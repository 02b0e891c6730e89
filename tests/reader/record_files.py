"""Intel HEX and S-record files: where each data byte lies in the text, and the text with other bytes in the same records."""

import re

from refused import require

HEX = re.compile(rb"[0-9A-Fa-f]+")
S_ADDRESS = {"1": 2, "2": 3, "3": 4, "7": 4, "8": 3, "9": 2, "0": 2, "5": 2, "6": 3}


def mark_of(line):
    return "intel-hex" if line[:1] == b":" else "s-record" if re.match(rb"[Ss][0-9]", line) else ""


def whole_record(line):
    """The kind of a line that is a record with the length that its count states and a correct checksum, else nothing."""
    match = re.fullmatch(rb"(?::|[Ss][0-9])((?:[0-9A-Fa-f]{2})+)", line)
    record = bytes.fromhex(match[1].decode("ascii")) if match else b""
    more, total = (5, 0) if line[:1] == b":" else (1, 255)
    return mark_of(line) if record and len(record) == record[0] + more and sum(record) % 256 == total else ""


def kind_of(data):
    """A raw file may begin like a record, with a VIN of S and digits for one: docs/region-map.md, which form a file has."""
    lines = re.findall(rb"[^\r\n]+", data)
    first = whole_record(lines[0]) if lines else ""
    if first or 2 * len(re.findall(rb"[0-9A-Fa-f:Ss\r\n]", data)) <= len(data):
        return first
    return next(filter(None, map(whole_record, lines)), "") or next(filter(None, map(mark_of, lines)), "")


class Records:
    """`data`: (address, bytes, position of the first digit, position of the record's checksum)."""

    def __init__(self, text, kind):
        self.text, self.kind, self.data, self.ended, self.upper = text, kind, [], False, 0
        self.paragraph = None  # whether addresses go by paragraphs (type 2) or by upper halves (type 4)
        self.counted = 0
        for match in re.finditer(rb"[^\r\n]+", text):
            require(not self.ended, "record-after-end")
            (self.hex_record if kind == "intel-hex" else self.s_record)(match.group(), match.start())
        require(self.ended, "record-end-missing")
        self.data.sort()
        for a, b in zip(self.data, self.data[1:]):
            require(a[0] + len(a[1]) <= b[0], "record-overlap")

    def digits(self, digits):
        require(HEX.fullmatch(digits) and len(digits) % 2 == 0, "record-malformed")
        return bytes.fromhex(digits.decode("ascii"))

    def hex_record(self, line, at):
        require(line[:1] == b":", "record-malformed")
        record = self.digits(line[1:])
        require(len(record) >= 5 and len(record) == record[0] + 5, "record-malformed")
        require(sum(record) % 256 == 0, "record-checksum")
        length, offset, kind = record[0], int.from_bytes(record[1:3], "big"), record[3]
        require(kind <= 5, "record-type")
        if kind == 0:
            require(offset + length <= 0x10000, "record-address")
            require(self.upper + offset + length <= 2**32, "record-address")
            if length:
                self.data.append((self.upper + offset, record[4:-1], at + 9, at + len(line) - 2))
            return
        require(length == {1: 0, 2: 2, 3: 4, 4: 2, 5: 4}[kind], "record-malformed")
        if kind in (2, 4):
            require(self.paragraph in (None, kind == 2), "record-type")
            self.paragraph = kind == 2
            self.upper = int.from_bytes(record[4:6], "big") << (4 if kind == 2 else 16)
        self.ended = kind == 1

    def s_record(self, line, at):
        require(re.match(rb"S[0-9]", line), "record-malformed")
        kind, record = chr(line[1]), self.digits(line[2:])
        require(kind in S_ADDRESS, "record-type")
        width = S_ADDRESS[kind]
        require(len(record) == record[0] + 1 and record[0] >= width + 1, "record-malformed")
        require(sum(record) % 256 == 255, "record-checksum")
        address = int.from_bytes(record[1:1 + width], "big")
        if kind in "123":
            content = record[1 + width:-1]
            require(address + len(content) <= 1 << 8 * width, "record-address")
            self.counted += 1
            if content:
                self.data.append((address, content, at + 4 + 2 * width, at + len(line) - 2))
        elif kind in "56":
            require(address == self.counted, "record-count")
        self.ended = kind in "789"

    def written(self, byte_at):
        """The text with the bytes that byte_at gives for each address: only digits whose value changes are written anew."""
        out = bytearray(self.text)
        for address, content, at, check in self.data:
            new = bytes(byte_at(address + i) for i in range(len(content)))
            begin = self.text.rfind(b"S", 0, at) if self.kind == "s-record" else self.text.rfind(b":", 0, at)
            if self.kind == "s-record":
                begin = max(begin, self.text.rfind(b"s", 0, at))
            lower = self.is_lower(self.text[begin + 1:check + 2])
            shift = sum(content) - sum(new)
            value = (int(self.text[check:check + 2], 16) + shift) % 256
            for place, digits in ((at, new.hex()), (check, f"{value:02x}")):
                for i, digit in enumerate(digits):
                    if chr(out[place + i]).lower() != digit:
                        out[place + i] = ord(digit if lower else digit.upper())
        return bytes(out)

    def is_lower(self, record):
        """The case of the record's first letter, else of the file's, else upper case."""
        for text in (record, self.text):
            first = re.search(rb"[A-Fa-f]", text)
            if first:
                return first.group().islower()
        return False
