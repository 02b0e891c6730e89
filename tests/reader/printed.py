"""A bundle byte by byte, as docs/bundle-format.md prints one."""

import zlib

LOCAL = [(4, "local header"), (2, "version needed"), (2, "flags"), (2, "method"), (2, "time"), (2, "date: 1980-01-01"),
         (4, "CRC-32 of the content"), (4, "stored size"), (4, "size of the content"), (2, "length of the name"),
         (2, "length of the extra field")]
CENTRAL = [(4, "central header"), (2, "version made by")] + LOCAL[1:] + [
    (2, "length of the comment"), (2, "disk"), (2, "internal attributes"), (4, "external attributes"), (4, "offset of the local header")]
END = [(4, "end record"), (2, "this disk"), (2, "disk of the directory"), (2, "number of entries"), (2, "number of entries"),
       (4, "size of all central headers"), (4, "offset of the first central header"), (2, "length of the comment")]
TOLD = ("size", "stored size", "length", "number", "method", "version", "offset of")


class Printed:
    """Blocks of the page: "hex" lines of offset, bytes and words; "text" for bytes that read well."""

    def __init__(self, data):
        self.data, self.at, self.rows, self.out = data, 0, [], []

    def row(self, size, words):
        piece = self.data[self.at:self.at + size]
        if words.startswith(TOLD):
            words += f": {int.from_bytes(piece, 'little')}"
        self.rows.append(f"{self.at:08x}  {piece.hex(' '):<47}  {words}")
        self.at += size
        return piece

    def fields(self, fields):
        for size, words in fields:
            self.row(size, words)

    def plain(self, size, words):
        last = self.at + size
        while self.at < last:
            piece = self.data[self.at:min(last, self.at + 16)]
            self.row(len(piece), piece.decode("ascii") if words == "" else words)
            words = words and "…"

    def flush(self):
        if self.rows:
            self.out.append("```hex\n" + "\n".join(self.rows) + "\n```")
        self.rows = []

    def text(self, size):
        self.flush()
        self.out.append("```text\n" + self.data[self.at:self.at + size].decode("utf-8") + "\n```")
        self.at += size


def print_bundle(data):
    page = Printed(data)
    while data[page.at:page.at + 4] == b"PK\x03\x04":
        method, stored, length = (int.from_bytes(data[page.at + at:page.at + at + size], "little") for at, size in ((8, 2), (18, 4), (26, 2)))
        page.fields(LOCAL)
        name = data[page.at:page.at + length].decode("ascii")
        page.plain(length, "")
        if name.endswith(".json") and method == 0:
            ends = data[page.at + stored - 1] == 0x0A
            page.text(stored - ends)
            if ends:
                page.row(1, "line end, a byte of the region map's file")
        elif method == 8:
            page.plain(stored, "a raw deflate stream of the content, which is shown below")
            page.flush()
            page.out.append("```json\n" + zlib.decompress(data[page.at - stored:page.at], -15).decode("utf-8") + "\n```")
        else:
            page.plain(stored, "signature" if name.startswith("signatures/") else "content")
    while data[page.at:page.at + 4] == b"PK\x01\x02":
        length = int.from_bytes(data[page.at + 28:page.at + 30], "little")
        page.fields(CENTRAL)
        page.plain(length, "")
    page.fields(END)
    page.flush()
    print("\n\n".join(page.out))
    return 0
