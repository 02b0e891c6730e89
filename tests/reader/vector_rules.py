"""One row for each sentence about rules: docs/order.md "Rules", docs/region-map.md "Two maps compared", docs/bundle-format.md "Approval".

The bundle is revision 2 of a small controller, sealed with version 3 of its region map; what a row changes is the version 2 that the state keeps, the state
itself, the approvals, or the trust file.
"""

import copy
import json

import ed25519
from framing import read_prefix
from refused import sha256
from shops import AUTHOR, DESK, MAPPER, OLD_ROOTS, ROOT, SECOND_AUTHOR, THIEF, key_of, key_row, state_file, statement, succession_fields, trust_fields
from state import learn_trust, new_state
from trust import read_trust
from vector_worlds import Plain
from worlds import FLASH, World, at, field, place, region, slot
from writer import TIME, Draft, corrected, sealed

OLDER = {
    "memories": [{"name": "flash", "origin": at(FLASH), "size": 128}, {"name": "eeprom", "origin": at(0), "size": 16}],
    "recognise": {"all": [{"memory": "flash", "at": at(FLASH + 4), "bytes": "5255"}]},
    "regions": [region("fuel", "flash", FLASH + 32, 16, "editable"), region("idle", "flash", FLASH + 48, 8, "locked"), region("learned", "flash", FLASH + 56, 8, "volatile")],
    "permitted_patches": [{"name": "spare", "memory": "flash", "at": at(FLASH + 20), "before": "00", "after": "01"}],
    "checksums": [{"name": "fuel", "algorithm": {"crc": "CRC-16/XMODEM"}, "coverage": [place("flash", FLASH + 32, 16)], "slots": [slot("flash", FLASH + 64, 2)]}],
    "copies": [{"name": "again", **place("flash", FLASH + 72, 4), "of": {"memory": "flash", "start": at(FLASH + 32)}}],
    "identity": [field("day", "other", "flash", FLASH + 8, 2, "bcd"), field("serial", "serial", "eeprom", 0, 4, "hex", binds=True)],
    "manufacturer_signed": [{"name": "boot", "places": [place("flash", FLASH + 96, 16)]}],
    "erase_sectors": [{**place("flash", FLASH, 32), "count": 4}],
}


def rules_world():
    return World("rules", copy.deepcopy(OLDER), Plain("rules"), [("flash", FLASH + 4, b"RU"), ("flash", FLASH + 8, bytes.fromhex("0712"))])


class Row:
    """Everything of one row, before it is written."""

    def __init__(self, revision=2):
        self.world = rules_world()
        base, result = self.world.base, self.world.base.copy()
        if revision > 0:
            result.data[self.world.edits[0][0]] ^= 0x11
            result = corrected(self.world.region_map, result)
        self.draft = Draft(self.world, base, result, revision, "full" if revision == 0 else "areas")
        self.draft.methods["changes.json"] = "stored"
        self.m = self.draft.manifest
        self.m["sequence"] = 5
        self.older = {**json.loads(self.world.map_bytes), "version": 2}
        self.keys = [key_row(AUTHOR, "author", "author"), key_row(SECOND_AUTHOR, "second author", "author"), key_row(DESK, "desk", "withdrawal"),
                     key_row(MAPPER, "map author", "map-author"), key_row(THIEF, "thief", "author", "map-author")]
        self.keys[-1]["state"] = "compromised"
        self.kept = True         # the state keeps the text of the known map
        self.texts = []          # further texts that it keeps
        self.rows = [self.row(3)]
        self.ways_back = []
        self.chain, self.request, self.without_state = [], {}, False
        self.change_state = lambda state: None

    # ---- what a row changes

    def row(self, sequence, secrets=(AUTHOR,), base=1, digest=None, revision=None):
        """A revision as the state remembers it; its map is the older one unless it says otherwise."""
        return {"base": base, "sequence": sequence, "revision": revision or sha256(f"revision {sequence}".encode()), "map": digest, "reviewed": False,
                "keys": sorted(key_of(secret) for secret in secrets)}

    def before(self, change):
        """The older map is the newer one with this change."""
        change(self.older)
        return self

    def key(self, secret):
        return next(row for row in self.keys if row["id"] == key_of(secret))

    def approval(self, first=None, last=None, controller="engine", signers=(MAPPER,), **more):
        fields = {"calseal": "approval/1", "controller": controller, "from": first or self.digest(), "to": last or sha256(self.world.map_bytes), "claimed_time": TIME,
                  "text": "idle added", **more}
        return statement(fields, signers).decode("utf-8")

    def approved(self, *approvals):
        self.m["approvals"] = [approval(self) if callable(approval) else approval for approval in approvals or (self.approval(),)]
        return self

    def but(self, change):
        change(self)
        return self

    # ---- what is written

    def text(self):
        return json.dumps(self.older, separators=(",", ":")) + "\n"

    def digest(self):
        return sha256(self.text().encode("utf-8"))

    def trust(self):
        return statement(trust_fields(ROOT, 4, self.keys), (ROOT,))

    def old_root(self):
        """A root before this one: its trust file, and the step to this one."""
        old = OLD_ROOTS[0]
        trust = statement(trust_fields(old, 2, self.keys, ROOT), (old,))
        return trust, statement(succession_fields(trust, ROOT), (old, ROOT))

    def state(self):
        state = new_state()
        trust = read_trust(self.old_root()[0] if self.chain else self.trust(), "")
        root = learn_trust(state, trust)
        rows = [{**one, "map": one["map"] or self.digest(), "set": "", "returns": []} for one in self.rows]
        ways_back = [{**one, "map": one["map"] or self.digest()} for one in self.ways_back]
        if rows or ways_back:
            root["jobs"] = [{"job": "job-7", "controller": "engine", "revisions": sorted(rows, key=lambda r: (r["sequence"], r["revision"], r["keys"])),
                             "ways_back": sorted(ways_back, key=lambda r: (r["revision"], r["keys"]))}]
        used = {one["map"] for one in rows + ways_back}
        texts = ([self.text()] if self.kept else []) + self.texts
        state["maps"] = sorted((text for text in texts if sha256(text.encode("utf-8")) in used), key=lambda text: sha256(text.encode("utf-8")))
        self.change_state(state)
        return state_file(state)

    def files(self):
        """(bundle, request) with every file as bytes."""
        read = {m.name: b"".join(self.world.whole.bytes(a, b) for a, b in m.segments) for m in self.world.region_map.space.memories}
        return sealed(self.draft), {"trust": self.trust(), "successions": [self.old_root()[1]] if self.chain else [], "state": None if self.without_state else self.state(),
                                    "reads": list(read.items()), **self.request}


# ---- changes of a map

def put(*path):
    """put(key, …, value): this place of the map says something else; None takes it out."""
    *steps, last, value = path

    def change(fields):
        place_of = fields
        for step in steps:
            place_of = place_of[step]
        if value is None:
            place_of.pop(last)
        else:
            place_of[last] = value
    return change


def add(key, item):
    return lambda fields: fields.setdefault(key, []).append(item)


FURTHER = {"name": "further", **place("flash", FLASH + 48, 2)}
PARAMETERS = {"width": 16, "poly": "0x1021", "init": 0, "refin": False, "refout": False, "xorout": 0}
OK, WIDER, CHANGED = "accepted", "rules-widened", "rules-changed"


def compared():
    """Rows of "Two maps compared": (name, outcome, sentence, what the older map says otherwise)."""
    return [
        ("version-alone", OK, "the version went up and nothing else", put("title", "Older")),
        ("locked-to-editable", WIDER, "1: from locked to anything else", put("regions", 0, "policy", "locked")),
        ("locked-to-volatile", WIDER, "1: from locked to anything else", put("regions", 2, "policy", "locked")),
        ("no-region-to-editable", WIDER, "1: bytes without a region are locked", put("regions", 0, None)),
        ("region-grows", WIDER, "1: some address of a memory", put("regions", 0, "size", 15)),
        ("volatile-to-editable", WIDER, "1: from anything else to editable", put("regions", 0, "policy", "volatile")),
        ("editable-to-volatile", OK, "1: editable to volatile does not widen", put("regions", 2, "policy", "editable")),
        ("editable-to-locked", OK, "1: editable to locked does not widen", put("regions", 1, "policy", "editable")),
        ("volatile-to-locked", OK, "1: volatile to locked does not widen", put("regions", 1, "policy", "volatile")),
        ("locked-to-derived", WIDER, "1: a slot makes a byte derived, and it was locked", put("checksums", 0, "slots", 0, "at", at(FLASH + 66))),
        ("memory-new", WIDER, "2: the newer map has a memory more", put("memories", 1, None)),
        ("memory-gone", WIDER, "2: a memory is missing", add("memories", {"name": "more", "origin": at(0), "size": 4})),
        ("memory-fill", WIDER, "2: fill", put("memories", 1, "fill", "00")),
        ("memory-holes", WIDER, "2: holes", put("memories", 1, "hole_is_fill", True)),
        ("memory-size", WIDER, "2: size", put("memories", 1, "size", 32)),
        ("memory-segments", WIDER, "2: segments", put("memories", 1, "segments", [{"start": at(0), "size": 8}, {"start": at(8), "size": 8}])),
        ("memory-whole-segment", OK, "2: one segment that is the whole memory is the default", put("memories", 1, "segments", [{"start": at(0), "size": 16}])),
        ("memories-in-another-order", OK, "memories are matched by name", lambda fields: fields["memories"].reverse()),
        ("patch-new", WIDER, "3: a permitted patch that the older map has not", put("permitted_patches", [])),
        ("patch-otherwise", WIDER, "3: a permitted patch that is not the same", put("permitted_patches", 0, "after", "02")),
        ("patch-gone", OK, "3: a permitted patch that is gone", add("permitted_patches", {"name": "more", "memory": "flash", "at": at(FLASH + 22), "before": "00", "after": "01"})),
        ("patch-note", OK, "a note does not count", put("permitted_patches", 0, "note", "why")),
        ("checksum-gone", WIDER, "4: a checksum is missing", add("checksums", {"name": "more", "algorithm": {"sum": {"unit": 8}}, "coverage": [place("flash", FLASH, 4)],
                                                                            "slots": [slot("flash", FLASH + 66, 1)]})),
        ("checksum-named-otherwise", WIDER, "4: matched by kind and name", put("checksums", 0, "name", "other")),
        ("checksum-coverage", WIDER, "4: a checksum is not the same: coverage", put("checksums", 0, "coverage", 0, "size", 15)),
        ("checksum-algorithm", WIDER, "4: a checksum is not the same: algorithm", put("checksums", 0, "algorithm", {"crc": "CRC-16/GSM"})),
        ("checksum-parameters", OK, "names of algorithms are replaced by their parameters", put("checksums", 0, "algorithm", {"crc": PARAMETERS})),
        ("checksum-alias", OK, "names of algorithms are replaced by their parameters", put("checksums", 0, "algorithm", {"crc": "CRC-16/ACORN"})),
        ("checksum-defaults", OK, "defaults are filled in", put("checksums", 0, "slots", 0, slot("flash", FLASH + 64, 2, order="little", encoding="binary", bits=16))),
        ("checksum-order", WIDER, "4: a checksum is not the same: a slot's order", put("checksums", 0, "slots", 0, "order", "big")),
        ("checksum-pieces", WIDER, "lists are the same with the same elements in the same order",
         put("checksums", 0, "coverage", [place("flash", FLASH + 32, 8), place("flash", FLASH + 40, 8)])),
        ("number-otherwise", OK, "numbers are read as numbers", put("checksums", 0, "coverage", 0, "size", "0x10")),
        ("copy-gone", WIDER, "4: a copy is missing", add("copies", {"name": "more", **place("flash", FLASH + 76, 2), "of": {"memory": "flash", "start": at(FLASH + 32)}})),
        ("copy-otherwise", WIDER, "4: a copy is not the same", put("copies", 0, "transform", "complement")),
        ("signed-part-gone", WIDER, "4: a signed part is missing", add("manufacturer_signed", {"name": "more", "places": [place("flash", FLASH + 112, 4)]})),
        ("signed-part-new", OK, "4: a signed part that is new", put("manufacturer_signed", [])),
        ("binding-field-gone", WIDER, "5: a binding field is missing", add("identity", field("more", "other", "eeprom", 8, 2, "hex", binds=True))),
        ("field-gone", OK, "5: a field that does not bind is missing", add("identity", field("more", "other", "eeprom", 8, 2, "hex"))),
        ("field-otherwise", WIDER, "5: any field is not the same", put("identity", 0, "encoding", "hex")),
        ("binding-field-new", OK, "5: a binding field that is new", put("identity", 1, None)),
        ("recognition-gone", WIDER, "6: the older map recognises by more", lambda fields: fields["recognise"]["all"].append({"memory": "flash", "at": at(FLASH), "bytes": "00"})),
        ("recognition-otherwise", WIDER, "6: not in the same way", put("recognise", "all", 0, "bytes", "5256")),
        ("recognition-mask", OK, "6: a mask of ones is the default", put("recognise", "all", 0, "mask", "ffff")),
        ("recognition-new", OK, "6: the older map recognises by nothing", put("recognise", None)),
        ("sectors-others", WIDER, "7: other erase sectors", put("erase_sectors", [{**place("flash", FLASH, 64), "count": 2}])),
        ("sectors-one-by-one", OK, "7: the same sectors, in whatever order",
         put("erase_sectors", [{**place("flash", FLASH + 64, 32), "count": 2}, {**place("flash", FLASH, 32), "count": 2}])),
        ("sectors-new", OK, "7: the older map declares none", put("erase_sectors", [])),
        ("forms", OK, "forms never widen", add("forms", {"name": "sealed", "signature": "00112233"})),
        ("region-name", OK, "names of regions never widen", put("regions", 0, "name", "other")),
        ("evidence", OK, "evidence and grade never widen", put("evidence", {"author": "another", "verified_on": ["ab" * 32], "guesses": ["one"], "grade": "verified"})),
    ]


def wider():
    return Row().before(put("regions", 0, "policy", "locked"))


def set_rows(row, rows, ways_back=()):
    row.rows, row.ways_back = rows, list(ways_back)
    return row


def in_state(row, change):
    row.change_state = change
    return row


def own_digest(row):
    return sha256(row.world.map_bytes)


def first_again():
    """A revision 0 with a map that is wider than the known one; the state may have accepted it."""
    return Row(0).before(put("regions", 0, "policy", "locked"))


def accepted_first():
    row = first_again()
    draft_digest = sha256(manifest_of(row))
    return set_rows(row, [row.row(7)], [row.row(5, digest=own_digest(row), revision=draft_digest)])


def manifest_of(row):
    return read_prefix(sealed(row.draft))[0]


def restricted(maps):
    """The author may seal with these region maps alone; the state knows nothing of the job."""
    row = set_rows(Row(), [])
    row.key(AUTHOR)["region_maps"] = sorted(maps(row))
    return row


def asked():
    """Rows of the table of "Rules", and of what a map that is known means."""
    a = sha256(b"a map of before")
    return [
        ("no-state", OK, "without a state nothing is known and nothing asked", lambda: wider().but(lambda r: setattr(r, "without_state", True))),
        ("no-map-known", OK, "2: no map is known", lambda: set_rows(wider(), [])),
        ("same-digest", OK, "2: its map has the digest of the known one", lambda: Row().but(lambda r: set_rows(r, [r.row(3, digest=own_digest(r))]))),
        ("accepted-first", OK, "1: a revision 0 that the state has accepted", accepted_first),
        ("first-never-accepted", WIDER, "1: a revision 0 that was never accepted is asked like any other", first_again),
        ("same-version-wider", CHANGED, "3: name and version of the known map", lambda: wider().before(put("version", 3))),
        ("same-version-narrower", CHANGED, "3: whichever allows more", lambda: Row().before(put("regions", 1, "policy", "editable")).before(put("version", 3))),
        ("same-version-approved", CHANGED, "3 comes before 4", lambda: wider().before(put("version", 3)).approved(Row.approval)),
        ("other-name-same-version", OK, "3: name and version", lambda: Row().before(put("version", 3)).before(put("name", "another"))),
        ("older-version-is-no-fault", OK, "a version that goes down is not asked about", lambda: Row().before(put("version", 9))),
        ("approved", OK, "4: approvals lead from the known map to its own", lambda: wider().approved(Row.approval)),
        ("approved-not-kept", OK, "4: also where the state has not kept the known map", lambda: wider().approved(Row.approval).but(lambda r: setattr(r, "kept", False))),
        ("not-kept", WIDER, "5: the state has not kept the known map", lambda: Row().but(lambda r: setattr(r, "kept", False))),
        ("not-kept-same-version", WIDER, "row 3 cannot be asked of a map that is not kept", lambda: Row().before(put("version", 3)).before(put("title", "other")).but(lambda r: setattr(r, "kept", False))),
        ("kept-text-is-no-map", WIDER, "one that cannot be read as a region map counts as not kept", lambda: Row().before(put("regions", None))),
        ("seal-only", WIDER, "step 11b is one of the bundle's own checks", lambda: wider().but(lambda r: r.request.update(seal_only=True))),
        ("newest-counts", WIDER, "the known map is that of the newest accepted revision", lambda: wider().but(lambda r: set_rows(r, [r.row(2, digest=own_digest(r)), r.row(3, (SECOND_AUTHOR,))]))),
        ("newest-has-this-map", OK, "the known map is that of the newest accepted revision", lambda: wider().but(lambda r: set_rows(r, [r.row(2, (SECOND_AUTHOR,)), r.row(3, digest=own_digest(r))]))),
        ("newest-fell", OK, "a revision whose key was stolen does not count", lambda: wider().but(lambda r: set_rows(r, [r.row(2, digest=own_digest(r)), r.row(9, (THIEF,))]))),
        ("newest-proved-by-the-ledger", WIDER, "a revision that is proved by the ledger counts", lambda: wider().but(lambda r: set_rows(r, [r.row(3, ()), r.row(4, (THIEF,), digest=own_digest(r))]))),
        ("ways-back-alone", WIDER, "where none counts, that of the counting revision 0 with the highest sequence",
         lambda: wider().but(lambda r: set_rows(r, [r.row(4, (THIEF,), digest=own_digest(r))], [r.row(1, digest=own_digest(r)), r.row(2)]))),
        ("ways-back-not-asked", OK, "revisions 0 are asked only where no revision counts", lambda: wider().but(lambda r: set_rows(r, [r.row(1, digest=own_digest(r))], [r.row(2, (SECOND_AUTHOR,))]))),
        ("ways-back-fell", OK, "a revision 0 whose key was stolen does not count", lambda: wider().but(lambda r: set_rows(r, [], [r.row(2, (THIEF,))]))),
        ("next-base", WIDER, "the next base is compared all the same", lambda: wider().but(lambda r: r.m["base"].update(number=2))),
        ("next-base-approved", OK, "the shop approves the new map when it opens the base", lambda: wider().approved(Row.approval).but(lambda r: r.m["base"].update(number=2))),
        ("old-root", WIDER, "what was learned under an earlier root counts", lambda: wider().but(lambda r: r.chain.append(1))),
        ("sequence-comes-first", "sequence-old", "11b comes after step 9", lambda: wider().but(lambda r: set_rows(r, [r.row(8)]))),
        ("key-of-this-map", OK, "8b: the digest is in the key's list", lambda: restricted(lambda r: [own_digest(r)])),
        ("key-of-another-map", "key-scope", "8b: the digest is not in the key's list", lambda: restricted(lambda r: [a])),
        ("key-of-an-approved-map", OK, "8b: approvals lead from one that is in the list", lambda: restricted(lambda r: [a]).approved(lambda r: r.approval(a))),
        ("key-approved-for-another", "key-scope", "8b: approvals lead elsewhere", lambda: restricted(lambda r: [a]).approved(lambda r: r.approval(a, sha256(b"other")))),
        ("key-approval-turned-round", "key-scope", "8b: from, and to", lambda: restricted(lambda r: [a]).approved(lambda r: r.approval(own_digest(r), a))),
    ]


def key_is(secret, **fields):
    return lambda row: row.key(secret).update(fields)


def approvals():
    """Rows of "Approval": the change is wider, and the approval counts or does not."""
    middle, other = sha256(b"between"), sha256(b"elsewhere")

    def one(**more):
        return lambda row: row.approval(**more)
    rows = [
        ("by-the-root", OK, "the root needs no role", (one(signers=(ROOT,)),), None),
        ("by-the-old-root", WIDER, "after a change of the root the old root's own approvals count no longer", (one(signers=(OLD_ROOTS[0],)),), lambda r: r.chain.append(1)),
        ("by-a-listed-key-across-roots", OK, "those of listed keys do", (one(),), lambda r: r.chain.append(1)),
        ("by-a-stranger", WIDER, "1: every key id is in the trust file", (one(signers=(bytes([77]) * 32,)),), None),
        ("beside-a-stranger", WIDER, "1: every key id is in the trust file", (one(signers=(MAPPER, bytes([77]) * 32)),), None),
        ("bad-signature", WIDER, "2: every signature verifies", (lambda r: bent(r.approval()),), None),
        ("not-canonical", WIDER, "3: canonical form", (lambda r: spaced(r),), None),
        ("from-is-to", WIDER, "3: from and to differ", (one(first=other, last=other),), None),
        ("field-too-many", WIDER, "3: fields", (one(more=1),), None),
        ("by-a-stolen-key", WIDER, "4: all signing keys are active", (one(signers=(THIEF,)),), None),
        ("beside-a-stolen-key", WIDER, "4: all signing keys are active", (one(signers=(MAPPER, THIEF)),), None),
        ("by-an-author", WIDER, "5: all have the role map-author", (one(signers=(AUTHOR,)),), None),
        ("beside-an-author", WIDER, "5: all have the role map-author", (one(signers=(MAPPER, AUTHOR)),), None),
        ("beside-the-root", OK, "the root needs no role, scope or validity", (one(signers=(MAPPER, ROOT)),), None),
        ("key-of-a-job", WIDER, "6: none is restricted to jobs", (one(),), key_is(MAPPER, jobs=["job-7"])),
        ("key-of-this-controller", OK, "6: the controller is in the scope of all", (one(),), key_is(MAPPER, controllers=["engine"])),
        ("key-of-another-controller", WIDER, "6: the controller is in the scope of all", (one(),), key_is(MAPPER, controllers=["transmission"])),
        ("key-of-other-maps", OK, "6: region_maps are not asked", (one(),), key_is(MAPPER, region_maps=[other])),
        ("key-not-valid-yet", WIDER, "7: the claimed time is within the validity", (one(claimed_time="2025-12-31T23:59:59Z"),), None),
        ("key-valid-no-more", WIDER, "7: the claimed time is within the validity", (one(),), key_is(MAPPER, valid_until=TIME)),
        ("of-another-controller", WIDER, "an approval counts when its controller is the manifest's", (one(controller="transmission"),), None),
        ("turned-round", WIDER, "approvals lead from the known map to its own", (lambda r: r.approval(own_digest(r), r.digest()),), None),
        ("two-steps", OK, "an approval that counts goes from a to a map from which they lead to b", (lambda r: r.approval(middle), lambda r: r.approval(last=middle)), None),
        ("a-gap", WIDER, "an approval that counts goes from a to a map from which they lead to b", (lambda r: r.approval(middle), lambda r: r.approval(last=other)), None),
        ("a-circle", WIDER, "a way that goes round and does not lead there", (lambda r: r.approval(last=middle), lambda r: r.approval(middle, r.digest())), None),
        ("one-that-does-not-count-beside", OK, "any other one is no fault of the bundle", ("no approval at all", one()), None),
        ("empty", WIDER, "any other one is no fault of the bundle", ("",), None),
        ("text-of-200", OK, "text is a line", (one(text="x" * 200),), None),
        ("text-of-201", WIDER, "text is a line", (one(text="x" * 201),), None),
        ("too-large", WIDER, "16,384 bytes", (lambda r: r.approval() + "x" * 16384,), None),
        ("other-literal", WIDER, "another beginning", (lambda r: r.approval().replace("approval/1", "approval/2"),), None),
        ("seventeen", "json-value", "at most 16", (*16 * ("",), one()), None),
    ]
    return [(f"approval-{name}", expect, sentence, lambda given=given, change=change: wider().but(change or (lambda r: None)).approved(*given))
            for name, expect, sentence, given, change in rows]


def bent(text):
    return text[:-3] + ("0" if text[-3] != "0" else "1") + text[-2:]


def spaced(row):
    signed = row.approval().split("\n")[0].replace(":", ": ", 1).encode("utf-8")
    return signed.decode() + "\n" + f"{key_of(MAPPER)} {ed25519.sign(MAPPER, signed).hex()}\n"


def kept_texts(row, texts):
    """Ways back of another job have these maps, and the state keeps their texts."""
    def change(state):
        jobs = state["roots"][0]["jobs"]
        for start in range(0, len(texts), 32):
            ways_back = sorted(({"base": 1, "sequence": 1, "revision": sha256(text.encode()), "map": sha256(text.encode()), "reviewed": False, "keys": [key_of(AUTHOR)]}
                                for text in texts[start:start + 32]), key=lambda one: one["revision"])
            jobs.append({"job": f"others-{start:02d}", "controller": "engine", "revisions": [], "ways_back": ways_back})
        state["maps"] = sorted(state["maps"] + texts, key=lambda text: sha256(text.encode()))
    return in_state(row, change)


def damaged(change):
    """A state that is no state: it counts for nothing and stays as it is."""
    return lambda: in_state(wider(), change)


def states():
    """What is remembered of maps, and when a state that keeps them is damaged."""
    return [
        ("text-is-kept", OK, "with a revision its region map is kept", lambda: set_rows(Row(), [])),
        ("text-is-dropped", OK, "a text that no kept revision has any more is dropped", Row),
        ("text-stays", OK, "a text that another revision has stays", lambda: Row().but(lambda r: set_rows(r, [r.row(3, (SECOND_AUTHOR,))]))),
        ("first-is-kept-at-a-look", OK, "an accepted revision 0 is kept as if it had been written", lambda: set_rows(Row(0), [])),
        ("room-for-one-more", OK, "64 texts", lambda: kept_texts(set_rows(Row(), []), [f"text {i}" for i in range(63)])),
        ("no-room", OK, "64 texts: the digest alone is kept", lambda: kept_texts(set_rows(Row(), []), [f"text {i}" for i in range(64)])),
        ("room-after-dropping", OK, "what is dropped makes room", lambda: kept_texts(Row(), [f"text {i}" for i in range(63)])),
        ("text-of-nobody", OK, "each is the map of some revision: else damaged", damaged(lambda state: state["maps"].append("nobody's"))),
        ("texts-out-of-order", OK, "ascending by their SHA-256: else damaged", lambda: kept_texts(wider(), ["a", "b", "c"]).but(turned_round)),
        ("sixty-five-texts", OK, "at most 64: else damaged", lambda: kept_texts(wider(), [f"text {i}" for i in range(64)])),
        ("maps-missing", OK, "the fields in this order: else damaged", damaged(lambda state: state.pop("maps"))),
        ("map-of-a-revision-missing", OK, "the fields in this order: else damaged", damaged(lambda state: state["roots"][0]["jobs"][0]["revisions"][0].pop("map"))),
    ]


def turned_round(row):
    inner = row.change_state

    def change(state):
        inner(state)
        state["maps"].reverse()
    row.change_state = change


ROWS = [(f"compared-{name}", expect, f"region-map.md, {sentence}", lambda change=change: Row().before(change)) for name, expect, sentence, change in compared()]
ROWS += [(f"rules-{name}", expect, f"order.md, {sentence}", maker) for name, expect, sentence, maker in asked()]
ROWS += [(name, expect, f"bundle-format.md, {sentence}", maker) for name, expect, sentence, maker in approvals()]
ROWS += [(f"state-{name}", expect, f"order.md, {sentence}", maker) for name, expect, sentence, maker in states()]
