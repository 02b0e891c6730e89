#!/usr/bin/env python3
"""The reader in Python against published vectors, region maps good and bad, and record files; and its corrections by chance.

usage: reader_test.py [SEED]
"""

import json
import os
import pathlib
import random
import sys
import time
import unittest

import ed25519
import lies_lists
import lies_options
import lies_roots
import lies_rules
import lies_state
from algorithms import Adler, Fletcher, Sum, algorithm
from chance import chance_world
from consistency import check_consistency
from correct import correct
from crc_catalogue import read_page
from json_text import canonical
from manifest import read_manifest
from map_checksums import swapped, swapped_range
from map_compare import widens
from older_maps import SAME
from plan import Plan, state
from ranges import merged
from record_files import Records, kind_of
from refused import Refused
from region_map import Space, read_region_map
from shops import Shop, state_file
from state import read_state
from worlds import WORLDS
from writer import Draft, entry_of

FIXTURES = os.path.join(os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__)))), "fixtures")
sys.path.insert(0, os.path.join(os.path.dirname(FIXTURES), "tests", "support"))
from bad_maps import bad_maps  # noqa: E402

SEED = int(sys.argv[1]) if len(sys.argv) > 1 else int(time.time())


def content(*names):
    with open(os.path.join(FIXTURES, *names), "rb") as file:
        return file.read()


def vectors(name):
    return json.loads(content("vectors", f"{name}.json"))


def reason_of(function, *arguments):
    try:
        function(*arguments)
    except Refused as refused:
        return refused.reason
    return ""


class Algorithms(unittest.TestCase):
    def test_ed25519(self):
        rows = vectors("ed25519")
        for row in rows["vectors"]:
            secret, message = bytes.fromhex(row["secret"]), bytes.fromhex(row["message"])
            self.assertEqual(ed25519.public_key(secret).hex(), row["public"])
            self.assertEqual(ed25519.sign(secret, message).hex(), row["signature"])
            self.assertTrue(ed25519.good(bytes.fromhex(row["public"]), message, bytes.fromhex(row["signature"])))
        for row in rows["must_reject"]:
            key = bytes.fromhex(row["public"])
            accepted = not reason_of(ed25519.check_key, key) and ed25519.good(key, bytes.fromhex(row["message"]), bytes.fromhex(row["signature"]))
            self.assertFalse(accepted, row["name"])
        for row in rows["small_order_public_keys"]:
            self.assertEqual(reason_of(ed25519.check_key, bytes.fromhex(row["encoding"])), "key-weak", row)

    def test_crc(self):
        for row in vectors("crc_catalogue")["algorithms"]:
            if row["width"] > 64:
                continue
            crc = algorithm({"crc": row["name"]})
            for key, message in (("empty", b""), ("one_zero_byte", b"\0"), ("bytes_00_to_ff", bytes(range(256))), ("bytes_ff_32", b"\xff" * 32)):
                self.assertEqual(crc.value(message), int(row["derived"][key], 16), row["name"])
            bare = {key: crc.entry[key] for key in ("width", "poly", "init", "refin", "refout", "xorout")}
            self.assertEqual(algorithm({"crc": bare}).residue(), int(row["residue"], 16) ^ crc.entry["xorout"], row["name"])
        self.assertGreater(len(read_page()), 150)

    def test_sums(self):
        for row in vectors("sums")["rows"]:
            summed = Sum(row["unit"], row["order"], row["operation"], row["accumulator"], 0)
            self.assertEqual(summed.value(bytes.fromhex(row["hex"])), int(row["sum"], 16), row)
        for row in vectors("fletcher")["rows"]:
            for width in (16, 32):
                self.assertEqual(Fletcher(width, "little").value(bytes.fromhex(row["hex"])), int(row[f"fletcher{width}"], 16), row)
        for row in vectors("adler32")["rows"]:
            self.assertEqual(Adler().value(bytes.fromhex(row["hex"]) * row.get("repeat", 1)), int(row["adler32"], 16), row)


class RegionMaps(unittest.TestCase):
    def test_good(self):
        for name in os.listdir(os.path.join(FIXTURES, "region_maps", "good")):
            self.assertEqual(reason_of(read_region_map, content("region_maps", "good", name)), "", name)

    def test_bad(self):
        _, rows = bad_maps(pathlib.Path(FIXTURES, "region_maps", "bad.txt"))
        self.assertGreater(len(rows), 200)
        for name, text, _, reason in rows:
            self.assertEqual(reason_of(read_region_map, text.encode()), reason, name)

    def test_damaged(self):
        """No map, however it is damaged, does anything but be read or be refused."""
        rng = random.Random(SEED)
        good = [content("region_maps", "good", name) for name in sorted(os.listdir(os.path.join(FIXTURES, "region_maps", "good")))]
        for turn in range(400):
            data = bytearray(rng.choice(good))
            for _ in range(rng.choice((1, 1, 2, 5))):
                data[rng.randrange(len(data))] = rng.choice(b'0123456789abcdef"{}[],:x') if rng.random() < 0.8 else rng.randrange(256)
            try:
                reason_of(read_region_map, bytes(data))
            except RecursionError:
                self.fail(f"seed {SEED}, turn {turn}")


class Swaps(unittest.TestCase):
    def test_ranges_are_their_bytes(self):
        """The bytes behind a swapped range, as ranges, are those of its addresses one by one, wherever the memory begins."""
        rng = random.Random(SEED)
        for turn in range(1000):
            memories = [{"name": name, "origin": rng.randrange(64), "size": 64, "fill": b"\xff", "hole_is_fill": False, "segments": None} for name in "ab"]
            space = Space(memories)
            memory, swap = rng.choice(space.memories), rng.choice((16, 32))
            first = memory.base + rng.randrange(4, 56)
            last = rng.randrange(first + 1, memory.base + 61)
            one_by_one = merged((p, p + 1) for p in (swapped(space, at, swap) for at in range(first, last)))
            self.assertEqual(swapped_range(space, first, last, swap), one_by_one, f"seed {SEED}, turn {turn}")


class Corrections(unittest.TestCase):
    def test_what_was_corrected_holds(self):
        """Any bytes changed, then every group corrected in order: then every node holds, and correcting again changes nothing."""
        rng, circles, rules = random.Random(SEED), 0, 0
        for turn in range(60):
            world = chance_world(rng)
            image = world.whole.copy()
            for _ in range(5):
                first, last = rng.choice(image.known)
                image.data[rng.randrange(first, last)] ^= rng.randint(1, 255)
            plan = Plan(world.region_map, image)
            circles += len(plan.circles)
            rules += sum(node.kind == "checksum" and bool(node.fields["rule"]) for node in plan.nodes)
            try:
                for group in plan.groups:
                    correct(plan, group, image)
            except Refused as refused:
                self.assertEqual(refused.reason, "map-unsolvable")
                continue
            self.assertEqual({state(node, image) for node in plan.nodes} - {"holds"}, set(), f"seed {SEED}, turn {turn}")
        self.assertGreater(circles + rules, 5, f"seed {SEED}: nothing worth correcting")


class TwoMaps(unittest.TestCase):
    """docs/region-map.md, "Two maps compared", row by row: the change on the left, and whether the newer map then widens the older one."""
    OLDER = {"memories": [{"name": "flash", "origin": "0x00000000", "size": 256, "fill": "ff"}],
             "recognise": {"all": [{"memory": "flash", "at": "0x00000000", "bytes": "41"}], "software_numbers": ["A1"]},
             "regions": [{"name": "fuel", "memory": "flash", "start": "0x00000040", "size": 32, "policy": "editable"},
                         {"name": "learned", "memory": "flash", "start": "0x00000060", "size": 16, "policy": "volatile"}],
             "permitted_patches": [{"name": "idle", "memory": "flash", "at": "0x00000020", "before": "00", "after": "01"}],
             "checksums": [{"name": "sum", "repeat": 2, "algorithm": {"crc": "CRC-16/XMODEM"}, "coverage": [{"memory": "flash", "start": "0x00000040", "size": 16, "stride": 16}],
                            "slots": [{"memory": "flash", "at": "0x00000080", "size": 2, "stride": 2}]}],
             "copies": [{"name": "again", "memory": "flash", "start": "0x00000090", "size": 4, "of": {"memory": "flash", "start": "0x00000040"}}],
             "identity": [{"name": "number", "kind": "software-number", "memory": "flash", "at": "0x00000010", "size": 2, "encoding": "ascii"},
                          {"name": "day", "kind": "other", "memory": "flash", "at": "0x00000012", "size": 3, "encoding": "bcd"},
                          {"name": "vin", "kind": "vin", "memory": "flash", "at": "0x000000a0", "size": 17, "encoding": "ascii", "binds": True}],
             "manufacturer_signed": [{"name": "boot", "places": [{"memory": "flash", "start": "0x000000f0", "size": 16}]}],
             "erase_sectors": [{"memory": "flash", "start": "0x00000000", "size": 64, "count": 4}]}

    def asked(self, change, back=False):
        newer = json.loads(json.dumps(self.OLDER))
        change(newer)
        maps = []
        for fields in (self.OLDER, newer):
            whole = {"calseal": "region-map/1", "name": "a", "controller": "engine", "version": 1, **fields,
                     "evidence": {"author": "tests", "verified_on": [], "guesses": [], "grade": "draft"}}
            maps.append(read_region_map(json.dumps(whole).encode("utf-8")))
        return widens(*(maps[::-1] if back else maps))

    def test_policies(self):
        def policy(number, name):
            def change(m):
                m["regions"][number]["policy"] = name
            return change

        def locked_no_more(m):
            m["regions"].append({"name": "new", "memory": "flash", "start": "0x000000c0", "size": 1, "policy": "volatile"})

        def derived_no_more(m):
            m["copies"][0]["size"] = 3
        self.assertEqual(self.asked(policy(1, "editable")), "policy")                # volatile to editable
        self.assertEqual(self.asked(policy(1, "editable"), back=True), "")           # editable to volatile
        self.assertEqual(self.asked(policy(0, "locked")), "")
        self.assertEqual(self.asked(policy(0, "locked"), back=True), "policy")
        self.assertEqual(self.asked(locked_no_more), "policy")
        self.assertEqual(self.asked(locked_no_more, back=True), "")
        self.assertEqual(self.asked(derived_no_more), "copies")                      # derived to locked; but the copy is not the same
        self.assertEqual(self.asked(derived_no_more, back=True), "policy")

    def test_declarations(self):
        def drop(key):
            return lambda m: m.pop(key)

        def put(path, value):
            def change(m):
                for step in path[:-1]:
                    m = m[step]
                m[path[-1]] = value
            return change
        for change, forward, back in (
                (put(("memories", 0, "fill"), "00"), "memories", "memories"), (put(("memories", 0, "hole_is_fill"), True), "memories", "memories"),
                (put(("memories", 0, "segments"), [{"start": "0x00000000", "size": 256}]), "", ""), (put(("memories", 0, "size"), "0x100"), "", ""),
                (drop("permitted_patches"), "", "permitted patches"), (put(("permitted_patches", 0, "after"), "02"), "permitted patches", "permitted patches"),
                (put(("permitted_patches", 0, "note"), "why"), "", ""),
                (put(("checksums", 0, "algorithm"), {"crc": "CRC-16/ACORN"}), "", ""), (put(("checksums", 0, "algorithm"), {"crc": "CRC-16/GSM"}), "checksums", "checksums"),
                (put(("checksums", 0, "algorithm"), {"crc": {"width": 16, "poly": "0x1021", "init": 0, "refin": False, "refout": False, "xorout": "0x0"}}), "", ""),
                (put(("checksums", 0, "slots", 0, "order"), "little"), "", ""), (put(("checksums", 0, "slots", 0, "order"), "big"), "checksums", "checksums"),
                (put(("checksums", 0, "coverage", 0, "size"), 15), "checksums", "checksums"), (put(("checksums", 0, "complement"), "none"), "", ""),
                (put(("checksums", 0, "bits"), 16), "", ""), (put(("copies", 0, "transform"), "plain"), "", ""), (put(("copies", 0, "transform"), "complement"), "copies", "copies"),
                (drop("manufacturer_signed"), "signed parts", ""), (lambda m: m["identity"].pop(1), "", ""), (lambda m: m["identity"].pop(2), "identity", ""),
                (put(("identity", 0, "encoding"), "hex"), "identity", "identity"), (put(("recognise", "all", 0, "mask"), "ff"), "", ""),
                (put(("recognise", "all", 0, "mask"), "f0"), "recognition", "recognition"), (lambda m: m["recognise"].pop("all"), "recognition", "recognition"),
                (drop("recognise"), "recognition", ""), (drop("erase_sectors"), "erase sectors", ""),
                (put(("erase_sectors",), [{"memory": "flash", "start": "0x00000080", "size": 64, "count": 2}, {"memory": "flash", "start": "0x00000000", "size": 64, "count": 2}]), "", ""),
                (put(("erase_sectors", 0, "count"), 3), "erase sectors", "erase sectors")):
            self.assertEqual((self.asked(change), self.asked(change, back=True)), (forward, back))

    def test_the_same_in_other_words(self):
        rng, tried = random.Random(SEED), 0
        for _ in range(40):
            world = chance_world(rng) if rng.random() < 0.5 else rng.choice(list(WORLDS.values()))(rng)
            fields = json.loads(json.dumps(world.fields))
            edit = rng.choice(SAME)
            try:
                edit(rng, fields)
            except (IndexError, KeyError, TypeError):
                continue
            tried += fields != world.fields
            other = read_region_map(json.dumps(fields).encode("utf-8"))
            self.assertEqual((widens(world.region_map, other), widens(other, world.region_map)), ("", ""), f"seed {SEED}, {edit.__name__}, {world.name}")
        self.assertGreater(tried, 5)


class States(unittest.TestCase):
    """What the forger draws is what it says: a state that was to be taken and is damaged would prove nothing."""
    TAKEN = {"64", "one just fits", "all just fit", "no map", "empty"}

    def drawn(self, lie):
        """(kind, whether a reader takes the state) for some shops with a state."""
        rng, turns = random.Random(f"{SEED} {lie.__name__}"), 0
        while turns < 12:
            draft = Draft(self.world, self.world.base, self.world.base, 0, "full")
            shop = Shop(rng, draft)
            if shop.state and reason_of(read_state, state_file(shop.state)) == "" and shop.state["roots"]:
                found = lie(rng, shop)
                turns += 1
                if found:
                    yield found[0], reason_of(read_state, state_file(shop.state)) == ""

    @classmethod
    def setUpClass(cls):
        cls.world = WORLDS["whole"](random.Random(SEED))

    def test_honest_shops(self):
        rng = random.Random(SEED)
        for _ in range(20):
            shop = Shop(rng, Draft(self.world, self.world.base, self.world.base, 0, "full"))
            self.assertTrue(shop.state is None or reason_of(read_state, state_file(shop.state)) == "", f"seed {SEED}")

    def test_limits(self):
        for kind, taken in self.drawn(lies_state.state_limit):
            self.assertEqual(taken, kind.endswith(" 0") or " full " in kind, f"seed {SEED}, {kind}")

    def test_structure(self):
        for kind, taken in self.drawn(lies_state.state_structure):
            self.assertFalse(taken, f"seed {SEED}, {kind}")

    def test_maps(self):
        for kind, taken in self.drawn(lies_rules.state_maps):
            self.assertEqual(taken, kind.removeprefix("state maps ") in self.TAKEN, f"seed {SEED}, {kind}")

    def test_what_honest_states_know(self):
        for lie in (lies_state.known_revision, lies_state.known_withdrawal, lies_state.known_time, lies_state.known_key, lies_roots.fork, lies_roots.unrelated,
                    lies_rules.widened, lies_rules.approved, lies_lists.withdrawals_number):
            damaged = [kind for kind, taken in self.drawn(lie) if not taken]
            self.assertLess(len(damaged), 6, f"seed {SEED}, {lie.__name__}: {damaged}")


class Ordered(unittest.TestCase):
    """What was ordered, in the manifest alone: honest orders are read, and each broken rule has its reason."""

    @staticmethod
    def draft(rng, revision):
        world = WORLDS["whole"](rng)
        return Draft(world, world.base, world.base, revision, "areas" if revision else "full")

    @staticmethod
    def reason(draft):
        entries = [entry_of(name, content, "stored")[0] for name, content in draft.contents().items()]
        return reason_of(lambda: check_consistency(read_manifest(canonical({**draft.manifest, "entries": entries}).encode("utf-8"))))

    def test_honest_orders(self):
        rng, seen = random.Random(SEED), set()
        for turn in range(60):
            draft = self.draft(rng, turn % 3)
            lies_options.honest_order(rng, draft)
            seen |= {option["why"] == "" for option in draft.manifest["ordered"]["options"]}
            self.assertEqual(self.reason(draft), "", f"seed {SEED}, turn {turn}")
        self.assertEqual(seen, {False, True})

    def test_broken_rules(self):
        rng, seen = random.Random(SEED), {}
        for turn in range(400):
            draft = self.draft(rng, rng.choice((0, 1, 1, 1)))
            kind, demand, reasons = lies_options.ordered_lie(rng, draft)
            seen.setdefault(kind, set()).add(demand)
            self.assertEqual(self.reason(draft), next(iter(reasons or {""})), f"seed {SEED}, turn {turn}: {kind}")
        self.assertEqual(len(seen), len(lies_options.RULES), f"seed {SEED}")


class RecordFiles(unittest.TestCase):
    def test_kinds(self):
        """What begins like a record is one only where it is whole, or where most of the file is record text."""
        good, vin = b"S1060000010203F3\n", b"S753M3WKT4FPTVE6F" + bytes(range(128, 200))
        for data, kind in ((vin, ""), (b":" + bytes(99), ""), (b"", ""), (b"\n\n", ""), (good + bytes(99), "s-record"), (b"\r\n" + good.lower() + bytes(99), "s-record"),
                           (b":00000001FF\n" + bytes(99), "intel-hex"), (good.replace(b"F3", b"F4"), "s-record"), (b":0000\n" + good, "s-record"),
                           (b"0123456789\n:00", "intel-hex"), (b"0123456789abcdef", "")):
            self.assertEqual(kind_of(data), kind, data)

    def test_forms(self):
        binary = content("forms", "two_segments.bin")
        for name, kind in (("two_segments.hex", "intel-hex"), ("two_segments.s19", "s-record")):
            text = content("forms", name)
            records = Records(text, kind)
            for address, held, _, _ in records.data:
                self.assertEqual(binary[address - 0x80010000:address - 0x80010000 + len(held)], held)
            self.assertEqual(records.written(lambda address: binary[address - 0x80010000]), text)
            changed = records.written(lambda address: binary[address - 0x80010000] ^ 0xFF)
            self.assertEqual([held for _, held, _, _ in Records(changed, kind).data], [bytes(b ^ 0xFF for b in held) for _, held, _, _ in records.data])


if __name__ == "__main__":
    print(f"seed {SEED}", flush=True)
    unittest.main(argv=sys.argv[:1])
