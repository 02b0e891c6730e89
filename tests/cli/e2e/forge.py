"""A bundle taken apart, bent, and honestly signed again with the openssl program: what a holder of a listed key can make with
ill will. The framing is written here, from docs/bundle-format.md, so that entries may be larger than Python wants to hold."""

import hashlib
import json
import struct
import subprocess
import zipfile
import zlib


def sha256(data):
    return hashlib.sha256(data).hexdigest()


def bomb(size, beginning=b""):
    """One raw deflate stream of `beginning` and then zeros (or spaces behind a beginning), `size` bytes in all; its CRC-32 and
    SHA-256. Never holds more than a piece of the content."""
    filler = b" " if beginning else b"\0"
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    crc, digest, out, left = 0, hashlib.sha256(), [], size
    piece = beginning + filler * ((1 << 20) - len(beginning))
    while left:
        piece = piece[:left]
        crc = zlib.crc32(piece, crc)
        digest.update(piece)
        out.append(packer.compress(piece))
        left -= len(piece)
        piece = filler * (1 << 20)
    out.append(packer.flush())
    return b"".join(out), crc, digest.hexdigest()


class Forgery:
    """`manifest` is the manifest as an object, `stored` the stored bytes by entry name."""

    def __init__(self, bundle):
        with open(bundle, "rb") as file:
            data = file.read()
        with zipfile.ZipFile(bundle) as archive:
            self.manifest = json.loads(archive.read("manifest.json"))
            self.stored = {}
            for info in archive.infolist():
                begin = info.header_offset + 30 + len(info.filename)
                self.stored[info.filename] = data[begin:begin + info.compress_size]

    def entry(self, name):
        return next(entry for entry in self.manifest["entries"] if entry["name"] == name)

    def store(self, name, stored, size, crc, digest, method="deflated"):
        """Other stored bytes, honestly named; `size`, `crc` and `digest` are what the manifest says of the content."""
        self.stored[name] = stored
        self.entry(name).update(method=method, stored_size=len(stored), stored_digest=sha256(stored), size=size,
                                crc32=f"0x{crc:08x}", digest=digest)

    def add_attachment(self, name, stored, size, crc, digest):
        fields = list(self.manifest["entries"][0])
        self.manifest["entries"].append(dict.fromkeys(fields))
        self.manifest["entries"][-1]["name"] = name
        self.manifest["attachments"].append({"entry": name, "title": "Attached"})
        self.store(name, stored, size, crc, digest)

    def text(self):
        return json.dumps(self.manifest, ensure_ascii=False, separators=(",", ":")).encode()

    def write(self, path, key, passphrase_file, key_id, text=None, signature=None):
        """Signs with an encrypted key file and writes the bundle."""
        text = self.text() if text is None else text
        message = str(path) + ".message"
        with open(message, "wb") as out:
            out.write(text)
        if signature is None:
            signature = subprocess.run(["openssl", "pkeyutl", "-sign", "-rawin", "-inkey", key, "-passin", f"file:{passphrase_file}", "-in",
                                        message], check=True, capture_output=True).stdout
        framed = [("manifest.json", text, 0, zlib.crc32(text), len(text)),
                  (f"signatures/{key_id}.sig", signature, 0, zlib.crc32(signature), 64)]
        for entry in self.manifest["entries"]:
            framed.append((entry["name"], self.stored[entry["name"]], 8 if entry["method"] == "deflated" else 0,
                           int(entry["crc32"], 16), entry["size"]))
        with open(path, "wb") as out:
            directory = b""
            for name, stored, method, crc, size in framed:
                shared = struct.pack("<HHHHHIIIHH", 20 if method else 10, 0, method, 0, 0x21, crc, len(stored), size, len(name), 0)
                directory += b"PK\1\2" + struct.pack("<H", 20) + shared + struct.pack("<HHHII", 0, 0, 0, 0, out.tell()) + name.encode()
                out.write(b"PK\3\4" + shared + name.encode() + stored)
            end = struct.pack("<HHHHIIH", 0, 0, len(framed), len(framed), len(directory), out.tell(), 0)
            out.write(directory + b"PK\5\6" + end)
        return str(path)
