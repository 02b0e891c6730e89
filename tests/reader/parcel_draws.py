"""Parcels, sheets, customer files and looks by chance: each from its own seed, honest or with something wrong in it, as a request (fixtures/parcels/README.md).

What the pages leave open is not drawn: unknown codes of findings, a parcel without a sheet beside one, a job whose parcels have several keys, the largest size of a memory.
"""

import copy
import random
import struct

import ed25519
import x25519
from closed import closed
from json_text import canonical
from parcel import FIRST
from parcel_writer import (CUSTOMER, EPHEMERAL, OTHER_CUSTOMER, OTHER_SHOP_KEY, SECOND_SHEET_KEY, SHEET_KEY, SHOP_KEY, Draft, customer_fields, key_id, noise,
                           sheet_fields, trust_file)
from protocol import inline
from refused import sha256
from shops import STRANGER_ROOT, statement
from vector_parcels import NOT_GIVEN, SHEET, with_signature, with_text
from vector_sheets import lines
from writer import ROOT, archive

TRUST, SHEET_FILE = trust_file(), statement(sheet_fields(), [SHEET_KEY])
OLDER = statement({**sheet_fields(), "number": 2, "cautions": []}, [SHEET_KEY])
VALUES = (0, 1, 2, 16, 17, 2**40, 2**40 + 1, 2**53 - 1, "", "x", "A", "a b", "engine", "flash", "towing", "e85", "choice", "text", "fuel", "stored", "deflated", "reads/1.bin",
          "reads/2.bin", "logs/1.log", "a" * 64, "0" * 64, "A" * 64, "a" * 65, "a" * 201, "0x00000000", "2026-01-01T00:00:00Z", "2026-01-01T24:00:00Z", [], [""], {}, {"a": 1},
          True, False, "\u00e9", "\x00", "a\nb", "\x7f", "\U0001f697")
# Fields whose values the pages leave open, by their last names.
OPEN = {"code", "file_name", "state", "receipts", "cautions", "accepted"}


# ---- fields bent

def places(value, path=()):
    """Paths of all members and items."""
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in children:
        yield (*path, key)
        yield from places(child, (*path, key))


def bend(rng, fields):
    """One member or item replaced, taken out, doubled or exchanged with a neighbour."""
    path = rng.choice([path for path in places(fields) if not OPEN & set(path) and not {"memories", "size"} <= set(path)])
    place = fields
    for step in path[:-1]:
        place = place[step]
    way = rng.choice(("value", "value", "value", "number", "out", "twice", "exchange"))
    if way == "number" and isinstance(place[path[-1]], int):
        place[path[-1]] = max(0, place[path[-1]] + rng.choice((-1, 1)))
    elif way == "out" or (way in ("twice", "exchange") and isinstance(place, dict)):
        del place[path[-1]]
        if way == "exchange":
            place["zebra"] = rng.choice(VALUES)
    elif way == "twice":
        place.insert(path[-1], copy.deepcopy(place[path[-1]]))
    elif way == "exchange":
        i, j = path[-1], rng.randrange(len(place))
        place[i], place[j] = place[j], place[i]
    else:
        place[path[-1]] = rng.choice(VALUES)


def damaged(rng, data):
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 5))):
        at, way = rng.randrange(len(out) + 1), rng.choice(("bit", "bit", "byte", "insert", "out", "cut", "append", "move"))
        if way == "insert":
            out[at:at] = rng.randbytes(rng.choice((1, 4, 30)))
        elif way == "out":
            del out[at:at + rng.choice((1, 4, 30))]
        elif way == "cut":
            del out[max(at, len(out) - 200):]
        elif way == "append":
            out += rng.choice((b"\x00", b"\n", out[-22:]))
        elif way == "move":
            part = out[at:at + 40]
            del out[at:at + 40]
            out += part
        elif at < len(out):
            out[at] = out[at] ^ 1 << rng.randrange(8) if way == "bit" else rng.randrange(256)
    return bytes(out)


def text_edit(rng, text):
    """A byte or a token of JSON written otherwise."""
    if rng.random() < 0.5:
        at = rng.randrange(len(text))
        return text[:at] + rng.choice((b" ", b"\n", b'"', b"\\", b"{", b"[", b",", b"0", b"-1", b"\xff", b"null", b"")) + text[at + rng.randrange(2):]
    old, new = rng.choice(((b":", b": "), (b"0", b"00"), (b"a", b"\\u0061"), (b"1", b"1.0"), (b"[]", b"[ ]"), (b'""', b"null"), (b"}", b",}"), (b"e", b"\\/")))
    return text.replace(old, new, 1)


# ---- parcels

def some_content(rng):
    return rng.choice((b"", noise(str(rng.random()), rng.randrange(1, 200)), b"\xff" * rng.randrange(20, 3000), noise("a", 8) * rng.randrange(8, 100)))


def some_draft(rng):
    draft = Draft(rng.choice((CUSTOMER, CUSTOMER, CUSTOMER, OTHER_CUSTOMER)), number=rng.randint(1, 9), root=rng.choice(("", key_id(ROOT), key_id(ROOT), key_id(ROOT), key_id(STRANGER_ROOT))),
                  job=rng.choice(("", "oak-17", "oak-17", "elm-3")), vehicle_reference=rng.choice(("", "blue estate", "blue estate", "red van")),
                  words=rng.choice(("", "Idles badly.", "\u00e9\n\t\"\\\x01")))
    if rng.random() < 0.5:
        draft.fields.update(sheet=SHEET, order=rng.choice(([], ["towing"], ["economy", "ethanol"])), accepted=rng.choice(([], ["Starts worse in the cold."])),
                            answers=rng.choice(([], [{"question": "fuel", "answer": "e85"}], [{"question": "fuel", "answer": "e85"}, {"question": "wish", "answer": "More."}])))
    taken = {}
    for _ in range(rng.choice((0, 1, 1, 2, 3, 5))):
        place = rng.choice(("engine", "transmission")), rng.choice(("flash", "eeprom"))
        taken[place] = taken.get(place, 0) + 1
        content = some_content(rng)
        draft.read(content, *place, taken[place], rng.choice(("read.bin", "a b.hex")), len(set(content)) == 1 and len(content) > 20)
    for _ in range(rng.choice((0, 0, 1, 2))):
        draft.log(some_content(rng), rng.choice(("", sha256(b"r"))))
    if not (draft.fields["reads"] or draft.fields["logs"] or draft.fields["words"] or draft.fields["order"]):
        draft.fields["words"] = "Hello."
    if draft.fields["reads"] and rng.random() < 0.4:
        draft.fields["findings"] = [{"entry": draft.fields["reads"][-1]["entry"], "code": code} for code in rng.choice((["blank"], ["cut-off", "size"]))]
    return draft


def bent_file(draft, change):
    """Signs bent fields; the file's headers follow them where they can, else the honest ones."""
    honest = []
    draft.bend(lambda fields, stored: honest.append((copy.deepcopy(fields["entries"]), list(stored))), lambda fields, _: change(fields))
    try:
        return draft.sealed()
    except (AttributeError, KeyError, TypeError, ValueError, struct.error):
        fields = {**copy.deepcopy(draft.fields), "entries": copy.deepcopy(honest[0][0])}
        change(fields)
        return archive(canonical(fields).encode("utf-8"), [draft.secret], *honest[0], FIRST)


def false_claim(rng, draft):
    """An entry that says something else of its bytes than what they are."""
    def change(fields, _):
        if fields["entries"]:
            key, value = rng.choice((("crc32", "0x00000001"), ("digest", sha256(b"x")), ("stored_digest", sha256(b"x")), ("size", 70), ("stored_size", 10), ("method", "deflated"), ("method", "stored")))
            rng.choice(fields["entries"])[key] = value
    return draft.bend(change).sealed()


def some_parcel(rng):
    """(file, draft, whether its fields or its text are bent)."""
    draft, way = some_draft(rng), rng.choice(("honest", "honest", "honest", "bend", "bend", "bend", "text", "file", "file", "seal", "crc", "claim", "two keys"))
    if way == "bend":
        seed = rng.random()
        return bent_file(draft, lambda fields: bend(random.Random(seed), fields)), draft, True
    if way == "text":
        return draft.text(lambda text: text_edit(rng, text)).sealed(), draft, True
    if way == "claim":
        return false_claim(rng, draft), draft, False
    if way == "two keys":
        return draft.sealed(rng.choice(([CUSTOMER, OTHER_CUSTOMER], [OTHER_CUSTOMER], [SHEET_KEY]))), draft, False
    file = draft.sealed()
    if way == "seal":
        file = with_signature(file, lambda signature: damaged(rng, signature)[:64].ljust(64, b"\0"))
    elif way == "crc":
        file = with_text(file, lambda text: damaged(rng, text) or b"{")
    return damaged(rng, file) if way == "file" else file, draft, False


def parcel_request(rng):
    file, draft, bent = some_parcel(rng)
    given = {**{key: value if value is not None else "" for key, value in NOT_GIVEN.items()}}
    if rng.random() < 0.5:
        given["trust"] = inline(TRUST)
    # Where a bent sheet could be empty none is given.
    if given["trust"] and draft.fields["sheet"] and not bent and rng.random() < 0.7:
        given["sheet"] = inline(rng.choice((SHEET_FILE, SHEET_FILE, OLDER, damaged(rng, SHEET_FILE))))
    if rng.random() < 0.5:
        given.update(job="oak-17", vehicle_reference="blue estate", customer_changed=rng.random() < 0.2)
        secret = rng.choice((CUSTOMER, CUSTOMER, OTHER_CUSTOMER))
        given["earlier"] = [inline(Draft(secret, number=rng.randint(1, 9), words="before").sealed()) for _ in range(rng.choice((0, 1, 1, 2)))]
    if rng.random() < 0.25:
        file = closed(file, x25519.public_key(rng.choice((SHOP_KEY, SHOP_KEY, SHOP_KEY, OTHER_SHOP_KEY))), EPHEMERAL) if file else file
        file = damaged(rng, file) if rng.random() < 0.4 else file
        given["parcel_key"] = inline(rng.choice((SHOP_KEY, SHOP_KEY, SHOP_KEY, OTHER_SHOP_KEY)).hex().encode() + b"\n") if rng.random() < 0.9 else ""
    return {"kind": "parcel", "file": inline(file), **given}


# ---- sheets and customer files

def some_trust(rng):
    def change(key):
        key.update(rng.choice(({}, {}, {}, {"roles": ["author"]}, {"jobs": ["oak-17"]}, {"controllers": ["engine"]}, {"state": "compromised"}, {"region_maps": [sha256(b"m")]},
                               {"valid_until": "2026-03-01T00:00:00Z"}, {"valid_from": "2026-05-06T07:08:09Z"})))
    return trust_file(change)


def sheet_request(rng):
    fields, secrets = sheet_fields(), rng.choice(([SHEET_KEY], [SHEET_KEY], [SHEET_KEY], [SECOND_SHEET_KEY], [SHEET_KEY, SECOND_SHEET_KEY], [STRANGER_ROOT], [CUSTOMER, SHEET_KEY]))
    way = rng.choice(("honest", "bend", "bend", "bend", "text", "file"))
    if way == "bend":
        bend(rng, fields)
    file = statement(fields, secrets)
    if way == "text":
        line = text_edit(rng, file.split(b"\n")[0])
        file = line + b"\n" + b"".join(sorted(f"{key_id(secret)} {signed(secret, line)}\n".encode() for secret in secrets))
    elif way == "file":
        file = damaged(rng, file)
    return {"kind": "sheet", "file": inline(file), "trust": inline(some_trust(rng))}


def signed(secret, line):
    return ed25519.sign(secret, line).hex()


def customer_request(rng):
    fields = {**customer_fields(), "salts": [{"job": f"job-{i}", "salt": noise(str(i), 32).hex()} for i in range(rng.randrange(4))]}
    way = rng.choice(("honest", "bend", "bend", "text", "file"))
    if way == "bend":
        bend(rng, fields)
    line = canonical(fields).encode("utf-8")
    file = lines(text_edit(rng, line) if way == "text" else line)
    return {"kind": "customer", "file": inline(damaged(rng, file) if way == "file" else file)}


# ---- looks

def some_piece(rng):
    size = rng.choice((0, 1, 16, 63, 64, 65, 512, 1023, 1024, 1025, 2048, 4095, 4096, 4097, 8192))
    return rng.choice((lambda: noise(rng.choice("abc"), size), lambda: rng.choice((b"\x00", b"\xff", b"\xff", b"\x55")) * size,
                       lambda: rng.choice((b":0B0010006164647265737320676170A7\n", b"S9030000FC\n", b":00000001FF\r\n", b"0123456789\n", b":00\n"))))()


def some_look(rng):
    content = b"".join(some_piece(rng) for _ in range(rng.choice((0, 1, 1, 2, 3)))) * rng.choice((1, 1, 1, 2, 3, 17, 64))
    if content and rng.random() < 0.2:
        content = rng.choice((b"\xff", b"\x00")) * (4096 * rng.choice((14, 15, 16, 30, 31, 32))) + content
    return content[:300000]


def near(rng, content):
    """Another read of the same memory: the same, or with about one byte in 64 changed, or of another size."""
    out = bytearray(content)
    for at in rng.sample(range(len(out)), min(len(out), max(0, len(out) // 64 + rng.choice((-1, 0, 0, 1, 2))))):
        out[at] ^= rng.randrange(1, 256)
    return rng.choice((content, bytes(out), bytes(out), bytes(out[:-1])))


def looks_request(rng):
    reads, taken = [], {}
    for _ in range(rng.randint(1, 4)):
        place = rng.choice(("engine", "transmission")), rng.choice(("flash", "eeprom"))
        content = rng.choice([read[1] for read in reads]) if reads and rng.random() < 0.25 else some_look(rng)
        if place in taken and rng.random() < 0.8:
            content = near(rng, taken[place][0])
        taken.setdefault(place, []).append(content)
        reads.append(({"controller": place[0], "memory": place[1], "series": len(taken[place])}, content))
    sizes = [f"{controller}.{memory}={rng.choice((0, len(contents[0]), len(contents[0]) + 1, 512))}" for (controller, memory), contents in taken.items() if rng.random() < 0.5]
    return {"kind": "looks", "reads": [{**read, "file": inline(content)} for read, content in reads], "sizes": sizes}


def request_of(seed):
    rng = random.Random(seed)
    maker = rng.choice((parcel_request, parcel_request, parcel_request, sheet_request, customer_request, looks_request))
    return {"id": f"seed {seed}", **maker(rng)}
