#!/usr/bin/env python3
"""The reader of parcels against published vectors of its algorithms, and every way to damage a small parcel, sheet, customer file and closed parcel.

usage: parcel_test.py [SEED]
"""

import functools
import io
import json
import random
import sys
import time
import unittest
import zipfile
import zlib

import aes_gcm
import ed25519
import fixed_deflate
import hpke
import parcel
import x25519
from closed import closed, opened
from customer import customer_file, read_customer
from parcel import is_closed, read_parcel
from parcel_conformance import FOLDER, look_as_row, vectors, wrong_in
from parcel_writer import EPHEMERAL, SHOP_KEY, Draft, customer_fields, noise, sheet_fields, sheet_file, trust_file
from recipe import made
from refused import Refused, sha256
from sheet import read_sheet
from trust import read_trust
from vector_parcels import flipped, parts, signature_at, with_signature, with_text

SEED = int(sys.argv[1]) if len(sys.argv) > 1 else int(time.time())
hexadecimal = bytes.fromhex


def reason_of(function, *arguments):
    try:
        function(*arguments)
    except Refused as refused:
        return refused.reason
    return ""


class Algorithms(unittest.TestCase):
    def test_x25519(self):
        """RFC 7748, sections 5.2 and 6.1."""
        for scalar, u, out in (
                ("a546e36bf0527c9d3b16154b82465edd62144c0ac1fc5a18506a2244ba449ac4", "e6db6867583030db3594c1a424b15f7c726624ec26b3353b10a903a6d0ab1c4c",
                 "c3da55379de9c6908e94ea4df28d084f32eccf03491c71f754b4075577a28552"),
                ("4b66e9d4d1b4673c5ad22691957d6af5c11b6421e0ea01d42ca4169e7918ba0d", "e5210f12786811d3f4b7959d0538ae2c31dbe7106fc03c3efc4cd549c715a493",
                 "95cbde9476e8907d7aade45cb4b873f88b595a68799fa152e6f8f7647aac7957")):
            self.assertEqual(x25519.multiple(hexadecimal(scalar), hexadecimal(u)).hex(), out)
        alice, bob = ("77076d0a7318a57d3c16c17251b26645df4c2f87ebc0992ab177fba51db92c2a",
                      "5dab087e624a8a4b79e17f8b83800ee66f3bb1292618b6fd1c2f8b27ff88e0eb")
        self.assertEqual(x25519.public_key(hexadecimal(alice)).hex(), "8520f0098930a754748b7ddcb43ef75a0dbf3a0d26381af4eba4a98eaa9b4e6a")
        self.assertEqual(x25519.public_key(hexadecimal(bob)).hex(), "de9edb7d7b7dc1b4d35b61c2ece435373f8343c85b78674dadfc7e146f882b4f")
        self.assertEqual(x25519.multiple(hexadecimal(alice), x25519.public_key(hexadecimal(bob))).hex(), "4a5d9d5ba4ce2de1728e3bf480350f25e07e21c947d19e3376f09b3c1e161742")

    def test_small_order(self):
        """The seven encodings give zero under any private key, whatever their top bit; the other encodings above p do not."""
        rng = random.Random(SEED)
        self.assertEqual(len(x25519.SMALL), 7)
        for encoding in x25519.SMALL:
            for top in (0, 0x80):
                self.assertEqual(x25519.multiple(rng.randbytes(32), encoding[:31] + bytes([encoding[31] | top])), bytes(32), encoding.hex())
        for value in range(x25519.P + 2, 2**255):
            self.assertNotEqual(x25519.multiple(rng.randbytes(32), value.to_bytes(32, "little")), bytes(32), value)

    def test_hkdf(self):
        """RFC 5869, appendix A.1."""
        key = hpke.extract(bytes(range(13)), b"\x0b" * 22)
        self.assertEqual(key.hex(), "077709362c2e32df0ddc3f0dc47bba6390b6c73bb50f9c3122ec844ad7c2b3e5")
        self.assertEqual(hpke.expand(key, bytes(range(0xF0, 0xFA)), 42).hex(), "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865")

    def test_aes(self):
        """FIPS 197, appendices C.1 and C.3."""
        text = hexadecimal("00112233445566778899aabbccddeeff")
        for size, expected in ((16, "69c4e0d86a7b0430d8cdb78070b4c55a"), (32, "8ea2b7ca516745bfeafc49904b496089")):
            planes = aes_gcm.encrypted(aes_gcm.expanded(bytes(range(size))), [bytes([byte]) for byte in text])
            self.assertEqual(b"".join(planes).hex(), expected)

    def test_gcm(self):
        """McGrew and Viega, The Galois/Counter Mode of Operation, test cases 13, 14 and 16."""
        key, nonce = hexadecimal("feffe9928665731c6d6a8f9467308308" * 2), hexadecimal("cafebabefacedbaddecaf888")
        text = hexadecimal("d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a721c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39")
        aad = hexadecimal("feedfacedeadbeeffeedfacedeadbeefabaddad2")
        for made_by, nonce_of, aad_of, plain, sealed in (
                (bytes(32), bytes(12), b"", b"", "530f8afbc74536b9a963b4f1c4cb738b"),
                (bytes(32), bytes(12), b"", bytes(16), "cea7403d4d606b6e074ec5d3baf39d18d0d1c8a799996bf0265b98b5d48ab919"),
                (key, nonce, aad, text, "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa8cb08e48590dbb3da7b08b1056828838c5f61e6393ba7a0abcc9f662"
                                        "76fc6ece0f4e1768cddf8853bb2d551b")):
            self.assertEqual(aes_gcm.Gcm(made_by).seal(nonce_of, aad_of, plain).hex(), sealed)
            self.assertEqual(aes_gcm.Gcm(made_by).open(nonce_of, aad_of, hexadecimal(sealed)), plain)
            self.assertIsNone(aes_gcm.Gcm(made_by).open(nonce_of, aad_of + b"x", hexadecimal(sealed)))

    def test_hpke(self):
        """The vectors published with RFC 9180 (cfrg/draft-irtf-cfrg-hpke, test-vectors.json): mode 0, kem 32, kdf 1, aead 2, two messages. The RFC prints none of this suite."""
        secret, ephemeral = (hexadecimal(text) for text in ("497b4502664cfea5d5af0b39934dac72242a74f8480451e1aee7d6a53320333d",
                                                            "179d4b53b6365c45b600c4163b61d95cbc2f4d9e36f1695558dce265ab8bab11"))
        public, info = x25519.public_key(secret), hexadecimal("4f6465206f6e2061204772656369616e2055726e")
        self.assertEqual(public.hex(), "430f4b9859665145a6b1ba274024487bd66f03a2dd577d7753c68d7d7d00c00c")
        enc, context = hpke.sender(public, ephemeral, info)
        self.assertEqual(enc.hex(), "6c93e09869df3402d7bf231bf540fadd35cd56be14f97178f0954db94b7fc256")
        shared = hpke.shared_secret(x25519.multiple(secret, enc), enc, public)
        self.assertEqual(shared.hex(), "3101c54c3a4f87439eaac080699ed9bbcc726ffe44e860c0424ccb7e3e2ead7b")
        self.assertEqual(context.key.hex(), "f50b0609186798729ed0564b36ef2ef8044f1f9d05636874d1f46c819c7a669f")
        self.assertEqual(context.base_nonce.hex(), "151d9929e2449747889bc923")
        self.assertEqual(context.exporter.hex(), "86017151bbff6a1940e8abae2ac9e0e7032e33df1eaaecc02ca6259b130d62df")
        other, text = hpke.receiver(enc, secret, info), b"Beauty is truth, truth beauty"
        for turn, sealed in enumerate(("e5d84cd531cfb583096e7cfa9641bd3079cf3a91cda813c52deb5f512be9931980a41de125a925cdad859d5b7a",
                                       "2c43aff25343fdbff864506f0818b9d87df84ea01b1a2144d23b4d40c26bf655fdf197fe40297a8aebeed5cc2d")):
            self.assertEqual(context.seal(b"Count-%d" % turn, text).hex(), sealed)
            self.assertEqual(other.open(b"Count-%d" % turn, hexadecimal(sealed)), text)

    def test_deflate(self):
        rng = random.Random(SEED)
        for turn in range(200):
            content = bytes(rng.choice(b"ab\xff\x00") for _ in range(rng.randrange(2000))) if turn % 2 else rng.randbytes(rng.randrange(60)) * rng.randrange(900)
            stream = zlib.decompressobj(-15)
            self.assertEqual(stream.decompress(fixed_deflate.deflated(content)), content, f"seed {SEED}, turn {turn}")
            self.assertTrue(stream.eof and not stream.unused_data, f"seed {SEED}, turn {turn}")


def small_parcel():
    return Draft(words="Idles badly.").read(noise("small", 40)).log(b"time,speed\n" + b"0,52\n" * 20, deflate=True).sealed()


class Damage(unittest.TestCase):
    """Every bit, every length. A signature that was judged once is not judged again, which changes nothing and saves minutes."""

    def setUp(self):
        self.honest = ed25519.good
        ed25519.good = functools.lru_cache(None)(ed25519.good)
        self.file = small_parcel()
        self.rng = random.Random(SEED)

    def tearDown(self):
        ed25519.good = self.honest

    def test_it_is_an_ordinary_zip(self):
        with zipfile.ZipFile(io.BytesIO(self.file)) as archive:
            self.assertIsNone(archive.testzip())
            self.assertEqual(archive.namelist()[0], "parcel.json")
            found = read_parcel(self.file)
            self.assertEqual([archive.read(entry["name"]) for entry in found["entries"]], found["contents"])
            self.assertEqual(json.loads(archive.read("parcel.json"))["words"], found["words"])

    def reason_at(self, at):
        """What a bit flipped there must give."""
        if at < 14 or 26 <= at < 41:
            return "type-wrong"
        if at < signature_at(self.file) + parcel.SIGNATURE:
            return "parcel-invalid"
        places, directory, _ = parts(self.file)
        header = next((place for place in reversed(places) if place <= at), 0)
        length = 30 + int.from_bytes(self.file[header + 26:header + 28], "little")
        return "framing-damaged" if at >= directory or at < header + length else "stored-digest"

    def test_every_bit(self):
        for at in range(len(self.file)):
            for bit in range(8):
                self.assertEqual(reason_of(read_parcel, flipped(self.file, at, 1 << bit)), self.reason_at(at), f"byte {at}, bit {bit}")

    def test_every_length(self):
        sealed_at = signature_at(self.file) + parcel.SIGNATURE
        for size in range(len(self.file)):
            self.assertEqual(reason_of(read_parcel, self.file[:size]), "parcel-invalid" if size < max(98, sealed_at) else "framing-damaged", size)
        for byte in range(256):
            self.assertEqual(reason_of(read_parcel, self.file + bytes([byte])), "framing-damaged")

    def test_under_a_good_crc(self):
        """One bit of each byte that is signed, and all of the signature, with CRC-32 made anew: what nobody but the signature finds."""
        size = signature_at(self.file) - 41
        for at in range(size):
            bent = with_text(self.file, lambda text, at=at: flipped(text, at, 1 << self.rng.randrange(8)))
            found = reason_of(read_parcel, bent)
            expected = {"type-wrong", "format-unknown"} if at < 22 else {"parcel-invalid"} if at < 95 else {"signature-bad"}
            self.assertIn(found, expected, f"seed {SEED}, byte {at}")
        for bit in range(512):
            self.assertEqual(reason_of(read_parcel, with_signature(self.file, lambda s, bit=bit: flipped(s, bit // 8, 1 << bit % 8))), "signature-bad", f"bit {bit}")

    def test_closed(self):
        shut = closed(self.file, x25519.public_key(SHOP_KEY), EPHEMERAL)
        self.assertEqual(opened(shut, SHOP_KEY), self.file)
        for at in range(17):
            self.assertFalse(is_closed(flipped(shut, at)))
        for at in range(17, len(shut)):
            bits = range(8) if at < 49 else [self.rng.randrange(8)]
            for bit in bits:
                self.assertEqual(reason_of(opened, flipped(shut, at, 1 << bit), SHOP_KEY), "parcel-closed", f"seed {SEED}, byte {at}, bit {bit}")
        for size in range(17, len(shut), 7):
            self.assertEqual(reason_of(opened, shut[:size], SHOP_KEY), "parcel-closed", size)
        for byte in range(0, 256, 5):
            self.assertEqual(reason_of(opened, shut + bytes([byte]), SHOP_KEY), "parcel-closed")

    def test_sheet(self):
        trust = read_trust(trust_file(), "")
        file = sheet_file({**sheet_fields(), "options": [], "questions": []})
        self.assertEqual(reason_of(read_sheet, file, trust), "")
        line = file.index(b"\n")
        for at in range(len(file)):
            bits = range(8) if at >= line else [self.rng.randrange(8)]
            for bit in bits:
                self.assertNotEqual(reason_of(read_sheet, flipped(file, at, 1 << bit), trust), "", f"seed {SEED}, byte {at}, bit {bit}")
        for size in range(len(file)):
            self.assertIn(reason_of(read_sheet, file[:size], trust), ("type-wrong", "sheet-invalid"), size)
        for byte in range(256):
            self.assertEqual(reason_of(read_sheet, file + bytes([byte]), trust), "sheet-invalid")

    def test_customer_file(self):
        file = customer_file(customer_fields())
        self.assertEqual(reason_of(read_customer, file), "")
        damaged = [flipped(file, at, 1 << bit) for at in range(len(file)) for bit in range(8)] + [file[:size] for size in range(len(file))]
        for data in damaged + [file + bytes([byte]) for byte in range(256)]:
            self.assertEqual(reason_of(read_customer, data), "customer-file-invalid")


class Vectors(unittest.TestCase):
    def test_what_they_hold(self):
        """Each reason of the two pages, and each code, in several rows; every file of the folder in some row is make_parcels.py's to say."""
        rows = vectors("index.json")
        for reason, least in (("parcel-invalid", 80), ("type-wrong", 10), ("format-unknown", 4), ("key-weak", 8), ("signature-bad", 8), ("framing-damaged", 15), ("stored-digest", 3),
                              ("content-digest", 10), ("parcel-other", 7), ("parcel-old", 5), ("parcel-closed", 25), ("sheet-invalid", 50), ("signer-unknown", 4), ("key-compromised", 2),
                              ("roles-missing", 3), ("key-scope", 3), ("key-validity", 2), ("customer-file-invalid", 28), ("file-too-large", 3), ("accepted", 50)):
            self.assertGreaterEqual(sum(row["expect"] == reason for row in rows), least, reason)
        codes = [word.split()[1] for row in vectors("looks.json") for word in row["expect"]]
        for code in ("blank", "cut-off", "differs", "empty", "repeated", "same", "size"):
            self.assertGreater(codes.count(code), 4, code)

    def test_files_that_are_made_anew(self):
        self.assertTrue(FOLDER.endswith("parcels"))
        self.assertGreater(sum(bool(row["made"]) for row in vectors("index.json")), 8)

    def test_the_comparison_notices(self):
        row = next(row for row in vectors("index.json") if row["name"] == "sheet-older")
        answer = {"outcome": "accepted", "reason": "", "cautions": ["sheet-other"], "results": row["results"]}
        self.assertEqual(wrong_in(row, answer), "")
        for change in ({"cautions": []}, {"reason": "parcel-old"}, {"outcome": "refused"}, {"results": {}}, {"results": {**row["results"], "number": 9}},
                       {"results": {**row["results"], "contents": []}}):
            self.assertNotEqual(wrong_in(row, {**answer, **change}), "", change)
        self.assertEqual(wrong_in(row, {**answer, "results": {"digest": row["results"]["digest"]}}), "")
        look = look_as_row(vectors("looks.json")[0])
        self.assertNotEqual(wrong_in(look, {"outcome": "accepted", "reason": "", "cautions": [], "results": {"findings": []}}), "")

    def test_recipes(self):
        self.assertEqual(made([["fill", "0f", 2], ["text", "é"], ["hex", "00ff"], ["times", 2, [["hex", "01"]]], ["edit", [["fill", "00", 3]], 1, "09"]]),
                         hexadecimal("0f0fc3a900ff0101000900"))
        self.assertEqual(made([["noise", "a", 40]]), hexadecimal(sha256(b"a 0") + sha256(b"a 1"))[:40])


if __name__ == "__main__":
    print(f"seed {SEED}", flush=True)
    unittest.main(argv=sys.argv[:1])
