"""A bundle verified without any of our programs: with unzip, openssl and sha256sum as docs/bundle-format.md says, and with
Python's own zipfile; the pinned digest redone with dd and sha256sum."""

import hashlib
import json
import pathlib
import subprocess
import unittest
import zipfile

import desk as desks
from desk import CALSEAL

DOCS = pathlib.Path(__file__).resolve().parents[3] / "docs"


class ByHand(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.desk = desks.Desk()
        cls.shop = cls.desk.open_shop()
        cls.desk.seal_base()
        cls.desk.seal_revision(1, "--attach", cls.desk.put("log.txt", b"log\n" * 500))
        # The public key from a source that the customer trusts: here the trust file's own words, turned into PEM by openssl.
        trust = json.loads(pathlib.Path(cls.desk.at("shop.trust")).read_text().splitlines()[0])
        author = next(key for key in trust["keys"] if key["id"] == cls.shop["author_id"])
        der = bytes.fromhex("302a300506032b6570032100" + author["public_key"])
        pathlib.Path(cls.desk.at("author.der")).write_bytes(der)
        subprocess.run(["openssl", "pkey", "-pubin", "-inform", "DER", "-in", cls.desk.at("author.der"), "-out",
                        cls.desk.at("author.pem")], check=True, capture_output=True)
        cls.trust = trust

    @classmethod
    def tearDownClass(cls):
        cls.desk.close()

    def recipe(self):
        """The shell lines of the page, as they stand there."""
        page = (DOCS / "bundle-format.md").read_text()
        block = page.split("## By hand", 1)[1].split("```", 2)[1]
        lines = [line for line in block.splitlines() if line]
        self.assertEqual(len(lines), 5, "the recipe changed: look at this test")
        return lines

    def run_recipe(self, bundle):
        """Exit status and output of each line, run in a folder that holds revision.calseal and author.pem."""
        folder = self.desk.root / ("hand-" + bundle.name)
        folder.mkdir()
        (folder / "revision.calseal").write_bytes(bundle.read_bytes())
        (folder / "author.pem").write_bytes(pathlib.Path(self.desk.at("author.pem")).read_bytes())
        results, where = [], folder
        for line in self.recipe():
            command = line.replace("<key id>", self.shop["author_id"])
            done = subprocess.run(["bash", "-o", "pipefail", "-c", command], cwd=where, capture_output=True, text=True, check=False)
            results.append((done.returncode, done.stdout))
            if "cd revision" in line:
                where = folder / "revision"
        return results

    def test_the_recipe_holds(self):
        for name in ("r0.calseal", "r1.calseal"):
            results = self.run_recipe(pathlib.Path(self.desk.at(name)))
            self.assertEqual([status for status, _ in results], [0] * 5, results)
            self.assertIn("No errors detected", results[0][1])
            self.assertIn("Signature Verified Successfully", results[2][1])
            self.assertNotIn("FAILED", results[3][1])
            self.assertEqual(results[3][1].count(": OK"), len(self.manifest(name)["entries"]))
            self.assertEqual(results[4][1].split()[0], self.shop["author_id"])

    def test_the_recipe_sees_another_manifest(self):
        data = bytearray(pathlib.Path(self.desk.at("r1.calseal")).read_bytes())
        at = data.index(b'"oak-17"') + 1
        data[at] ^= 1
        bent = self.desk.root / "bent.calseal"
        bent.write_bytes(bytes(data))
        self.assertNotEqual(self.run_recipe(bent)[2][0], 0)

    def manifest(self, name):
        with zipfile.ZipFile(self.desk.at(name)) as archive:
            return json.loads(archive.read("manifest.json"))

    def test_zipfile_reads_it(self):
        for name in ("r0.calseal", "r1.calseal"):
            with zipfile.ZipFile(self.desk.at(name)) as archive:
                self.assertIsNone(archive.testzip())
                entries = self.manifest(name)["entries"]
                self.assertEqual([info.filename for info in archive.infolist()],
                                 ["manifest.json", f"signatures/{self.shop['author_id']}.sig"] + [e["name"] for e in entries])
                for entry in entries:
                    content = archive.read(entry["name"])
                    info = archive.getinfo(entry["name"])
                    self.assertEqual(hashlib.sha256(content).hexdigest(), entry["digest"])
                    self.assertEqual((info.file_size, info.compress_size, f"0x{info.CRC:08x}"),
                                     (entry["size"], entry["stored_size"], entry["crc32"]))
                    self.assertEqual(info.compress_type, {"stored": 0, "deflated": 8}[entry["method"]])
                self.assertTrue(any(e["method"] == "deflated" for e in entries))

    def test_pinned_digest_by_dd_and_sha256sum(self):
        controller = self.manifest("r1.calseal")["controllers"][0]
        origin = {memory["name"]: int(memory["origin"], 16) for memory in controller["memories"]}
        sides = {"before": (self.desk.flash, self.desk.eeprom), "after": self.desk.expected(1)}
        for side, (flash, eeprom) in sides.items():
            files = {"flash": self.desk.put("side.flash", flash), "eeprom": self.desk.put("side.eeprom", eeprom)}
            lines = ""
            for span in controller["spans"]:
                if not span[side]:
                    continue
                skip = int(span["start"], 16) - origin[span["memory"]]
                command = f"dd if={files[span['memory']]} bs=1 skip={skip} count={span['size']} status=none | sha256sum"
                digest = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=True).stdout.split()[0]
                self.assertEqual(digest, span[side])
                lines += f"{span['memory']} {span['start']} {span['size']} {digest}\n"
            self.assertEqual(hashlib.sha256(lines.encode()).hexdigest(), controller["pinned"][side])

    def test_identity_is_the_manifest_s_digest(self):
        shown = self.desk.must(CALSEAL, "show", self.desk.at("r1.calseal"), "--manifest").stdout
        with zipfile.ZipFile(self.desk.at("r1.calseal")) as archive:
            self.assertEqual(archive.read("manifest.json"), shown)

    def test_trust_file_by_openssl(self):
        lines = pathlib.Path(self.desk.at("shop.trust")).read_bytes().split(b"\n")
        self.assertEqual(len(lines), 3)
        key_id, signature = lines[1].decode().split()
        der = bytes.fromhex("302a300506032b6570032100" + self.trust["root"])
        self.assertEqual(hashlib.sha256(der).hexdigest(), key_id)
        files = {"root.der": der, "text": lines[0], "sig": bytes.fromhex(signature)}
        paths = {name: self.desk.put(name, data) for name, data in files.items()}
        subprocess.run(["openssl", "pkeyutl", "-verify", "-rawin", "-pubin", "-keyform", "DER", "-inkey", paths["root.der"], "-in",
                        paths["text"], "-sigfile", paths["sig"]], check=True, capture_output=True)

    def test_salted_digest_by_hmac(self):
        import hmac
        salt = bytes.fromhex(pathlib.Path(self.desk.at("oak.salt")).read_text().strip())
        field = self.manifest("r1.calseal")["controllers"][0]["binding"][0]
        message = b"engine eeprom 0x00000020 16\n" + self.desk.eeprom[0x20:0x30]
        self.assertEqual(hmac.new(salt, message, hashlib.sha256).hexdigest(), field["digest"])


if __name__ == "__main__":
    unittest.main()
