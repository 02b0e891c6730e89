"""An honest writer of parcels, sheets, customer files and trust files, made from docs/parcel.md and docs/sheet.md. The same for the same arguments, every time."""

import copy
import hashlib
import zlib

import ed25519
import x25519
from fixed_deflate import deflated
from json_text import canonical
from parcel import FIRST
from refused import sha256
from shops import key_of, key_row, public, statement, trust_fields
from writer import AUTHOR, ROOT, archive

SHEET_KEY, SECOND_SHEET_KEY = bytes([11]) * 32, bytes([12]) * 32
CUSTOMER, OTHER_CUSTOMER = bytes([49]) * 32, bytes([50]) * 32
SHOP_KEY, OTHER_SHOP_KEY, EPHEMERAL = (bytes([n]) * 32 for n in (65, 66, 67))
TIME = "2026-05-06T07:08:09Z"


def noise(name, size):
    """Invented bytes: SHA-256 of the name and a count, one after another."""
    out = bytearray()
    for turn in range((size + 31) // 32):
        out += hashlib.sha256(f"{name} {turn}".encode("utf-8")).digest()
    return bytes(out[:size])


def trust_file(change=None, root=ROOT, following=None):
    """The shop's trust file; `change` edits the row of the sheet's key."""
    keys = [key_row(AUTHOR, "author", "author"), key_row(SHEET_KEY, "sheet", "sheet"), key_row(SECOND_SHEET_KEY, "second sheet", "sheet")]
    if change:
        change(keys[1])
    return statement(trust_fields(root, 1, keys, following), [root])


def conditions(**lists):
    return {"options": [], "fuel": [], "hardware": [], **lists}


def option(name, title, **more):
    return {"name": name, "title": title, "purpose": "", "controllers": ["engine"], "requires": conditions(), "excludes": conditions(), "cautions": [], **more}


def question(name, text, kind="text", states="", required=False, choices=()):
    return {"name": name, "text": text, "kind": kind, "states": states, "required": required,
            "choices": [{"name": choice, "text": words} for choice, words in choices]}


def sheet_fields():
    return {
        "calseal": "sheet/1", "root": key_of(ROOT), "number": 3, "claimed_time": TIME, "parcel_key": x25519.public_key(SHOP_KEY).hex(),
        "options": [
            option("economy", "Saves fuel at steady speed", excludes=conditions(options=["towing"]), cautions=["Pulls less below 2000/min."]),
            option("ethanol", "For fuel with ethanol", purpose="Enriches by the blend\nthat the tank holds.", requires=conditions(fuel=["e85"]),
                   cautions=["Starts worse in the cold.", "Wants its own oil."]),
            option("towing", "Pulls a trailer uphill", controllers=["engine", "transmission"],
                   requires=conditions(hardware=["oil-cooler", "tow-bar"]), excludes=conditions(options=["economy"]))],
        "questions": [
            question("fuel", "What is in the tank?", "choice", "fuel", True, (("e85", "Ethanol blend"), ("petrol", "Petrol"))),
            question("trailer", "Is there a tow bar?", "choice", "hardware", False, (("none", "No"), ("tow-bar", "Yes"))),
            question("mileage", "How far has it gone, in km?", "number", required=True), question("wish", "What else?")],
        "reads": [{"controller": "engine", "title": "Engine controller, behind the battery",
                   "memories": [{"name": "flash", "size": 512}, {"name": "eeprom", "size": 64}], "again": True},
                  {"controller": "transmission", "title": "Transmission controller, under the seat",
                   "memories": [{"name": "flash", "size": 0}], "again": False}],
        "cautions": ["A tuned engine may want other service."]}


def sheet_file(fields=None, secrets=(SHEET_KEY,)):
    return statement(fields or sheet_fields(), secrets)


def customer_fields():
    return {"calseal": "customer/1", "seed": CUSTOMER.hex(), "number": 7, "salts": [{"job": "oak-17", "salt": bytes(range(32)).hex()}], "state": "",
            "receipts": []}


class Draft:
    """A parcel before it is signed. `bends` edit its fields once entries are there, `retext` its bytes, before the signature."""

    def __init__(self, secret=CUSTOMER, **fields):
        self.secret, self.bends, self.retext, self.contents = secret, [], lambda text: text, []
        self.fields = {
            "calseal": "parcel/1", "key": public(secret).hex(), "number": 1, "claimed_time": TIME, "root": key_of(ROOT), "sheet": "", "job": "",
            "vehicle_reference": "blue estate", "words": "", "order": [], "answers": [], "accepted": [], "reads": [], "logs": [], "findings": [],
            "tool": "tests", **fields}

    def read(self, content, controller="engine", memory="flash", series=1, file_name="read.bin", deflate=False):
        name = f"reads/{len(self.fields['reads']) + 1}.bin"
        self.fields["reads"].append({"entry": name, "controller": controller, "memory": memory, "series": series, "file_name": file_name})
        self.contents.append((name, content, deflate))
        return self

    def log(self, content, revision="", file_name="drive.csv", deflate=False):
        name = f"logs/{len(self.fields['logs']) + 1}.log"
        self.fields["logs"].append({"entry": name, "revision": revision, "file_name": file_name})
        self.contents.append((name, content, deflate))
        return self

    def bend(self, *bends):
        self.bends += bends
        return self

    def text(self, retext):
        self.retext = retext
        return self

    def sealed(self, secrets=None):
        """The file. Streams of entries that the bends change go in as `stored` says."""
        entries, stored = [], []
        for name, content, deflate in self.contents:
            inside = deflated(content) if deflate else content
            entries.append({"name": name, "method": "deflated" if deflate else "stored", "stored_size": len(inside), "stored_digest": sha256(inside),
                            "size": len(content), "crc32": f"0x{zlib.crc32(content):08x}", "digest": sha256(content)})
            stored.append(inside)
        fields = {**copy.deepcopy(self.fields), "entries": entries}
        for bend in self.bends:
            bend(fields, stored)
        text = self.retext(canonical(fields).encode("utf-8"))
        return archive(text, secrets or (self.secret,), fields["entries"], stored, FIRST)


def key_id(secret):
    return ed25519.key_id(public(secret))
