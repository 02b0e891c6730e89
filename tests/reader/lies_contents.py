"""Lies of contents, entries, deflate streams, seals and trust files."""

import zlib

import ed25519
from json_text import canonical
from lies_manifest import AGREE, REFUSED, bend_list, other_value
from refused import sha256
from writer import AUTHOR, REVIEWER, ROOT, STRANGER, sealed, trust_file


def payload_lie(rng, draft):
    """A byte of the payload that no span was made from: (contents, kind, demand)."""
    contents = draft.contents()
    names = [name for name in contents if name.startswith("payload/")]
    if not names:
        return None
    name = rng.choice(names)
    content = bytearray(contents[name])
    i = rng.randrange(len(content))
    content[i] ^= 1 << rng.randrange(8)
    contents[name] = bytes(content)
    # Of revision 0 a byte of the vehicle's is told by `files` alone, and not in every form.
    return contents, "payload byte", AGREE if draft.revision == 0 else REFUSED


def changes_lie(rng, draft, read_is_base):
    changes = draft.changes
    way = rng.choice(("list", "value", "grow", "shrink", "split", "region", "option", "join", "foreign"))
    before = canonical(changes)
    if way == "foreign":
        memory = rng.choice(draft.controller["memories"])
        place = int(memory["origin"], 16) + rng.randrange(memory["size"])
        changes.append({"memory": memory["name"], "start": f"0x{place:08x}", "size": 1, "region": "", "option": ""})
    elif not changes:
        return None
    elif way == "list":
        draft.changes = bend_list(rng, changes)
    else:
        i = rng.randrange(len(changes))
        bend_change(rng, changes, i, way)
    if canonical(draft.changes) == before:
        return None
    # Ranges within a span are proved where the read has the base's bytes; elsewhere they are the shop's word.
    return f"changes {way}", REFUSED if read_is_base and way != "option" else AGREE


def bend_change(rng, changes, i, way):
    change = changes[i]
    if way == "value":
        key = rng.choice(("memory", "start", "size", "region"))
        change[key] = other_value(rng, change[key]) if key != "size" else change[key] + rng.choice((1, 2))
    elif way == "grow":
        change["size"] += 1
    elif way == "shrink" and change["size"] > 1:
        change["size"] -= 1
    elif way == "split" and change["size"] > 1:
        change["size"] -= 1
        changes.insert(i + 1, {**change, "start": f"0x{int(change['start'], 16) + change['size']:08x}", "size": 1})
    elif way == "region":
        change["region"] = rng.choice(("", "fuel", "maps", change["region"] + "[0]"))
    elif way == "option":
        change["option"] = rng.choice(("loud", "quiet", ""))
    elif way == "join" and i + 1 < len(changes):
        after = changes.pop(i + 1)
        change["size"] = max(1, int(after["start"], 16) + after["size"] - int(change["start"], 16))


def honest_set(rng, draft):
    mine = {"controller": draft.controller["name"], "base": 1, "sequence": draft.manifest["sequence"],
            "map_digest": draft.controller["region_map"]["digest"], "pinned": draft.controller["pinned"]["after"]}
    other = {"controller": "transmission", "base": 1, "sequence": 9, "map_digest": sha256(b"map"), "pinned": sha256(b"pinned")}
    draft.set = {"calseal": "set/1", "job": draft.manifest["job"], "members": [mine, other],
                 "write_order": rng.choice((["engine", "transmission"], ["transmission", "engine"])), "drivable_between": rng.random() < 0.5}
    draft.manifest["set"] = sha256(canonical(draft.set).encode("utf-8"))


def set_lie(rng, draft):
    """A set that is another one in one field, sealed with its own digest."""
    honest_set(rng, draft)
    member = draft.set["members"][0]
    key = rng.choice(sorted(member))
    if rng.random() < 0.3:
        draft.set["job"] += "x"
    elif rng.random() < 0.3:
        draft.set["members"].reverse()
    else:
        member[key] = other_value(rng, member[key])
    draft.manifest["set"] = sha256(canonical(draft.set).encode("utf-8"))
    return "set", REFUSED


def entry_lie(rng, draft):
    def value(entries, stored):
        entry = rng.choice(entries)
        key = rng.choice(sorted(entry))
        entry[key] = {"stored": "deflated", "deflated": "stored"}[entry[key]] if key == "method" else other_value(rng, entry[key])

    def order(entries, stored):
        i, j = rng.sample(range(len(entries)), 2)
        entries[i], entries[j], stored[i], stored[j] = entries[j], entries[i], stored[j], stored[i]

    def double(entries, stored):
        i = rng.randrange(len(entries))
        entries.insert(i, dict(entries[i]))
        stored.insert(i, stored[i])

    def drop(entries, stored):
        i = rng.randrange(len(entries))
        entries.pop(i)
        stored.pop(i)
    lie = rng.choice((value, value, value, order, double, drop))
    draft.entry_lies.append(lie)
    return f"entry {lie.__name__}", REFUSED


def deflate_lie(rng, draft):
    """A stream of changes.json that is not exactly the content; or is, written another way, which is allowed."""
    way = rng.choice(("trailing", "cut", "another", "longer", "stored block", "dictionary", "empty blocks"))

    def lie(entries, stored):
        i = next(i for i, entry in enumerate(entries) if entry["name"] == "changes.json")
        content = canonical({"calseal": "changes/1", "changes": draft.changes}).encode("utf-8")
        stream = zlib.compressobj(9, zlib.DEFLATED, -15, zdict=b"memory") if way == "dictionary" else zlib.compressobj(1, zlib.DEFLATED, -15)
        out = (stream.compress(content) + (stream.flush(zlib.Z_FULL_FLUSH) if way == "empty blocks" else b"") + stream.flush())
        if way == "trailing":
            out += b"\0"
        elif way == "cut":
            out = out[:-1]
        elif way == "another":
            stream = zlib.compressobj(9, zlib.DEFLATED, -15)
            out = stream.compress(content[:-1] + b"]") + stream.flush()
        elif way == "longer":
            stream = zlib.compressobj(9, zlib.DEFLATED, -15)
            out = stream.compress(content + b" " * 4) + stream.flush()
        elif way == "stored block" and len(content) < 65536:
            half = len(content) // 2
            out = b"".join(bytes([last]) + len(c).to_bytes(2, "little") + (len(c) ^ 0xFFFF).to_bytes(2, "little") + c
                           for last, c in ((0, content[:half]), (1, content[half:])))
        entries[i].update(method="deflated", stored_size=len(out), stored_digest=sha256(out))
        stored[i] = out
    draft.entry_lies.append(lie)
    honest = way in ("stored block", "dictionary", "empty blocks")
    return f"deflate {way}", AGREE if honest else REFUSED


def seal_lie(rng, draft):
    """(bundle, trust, kind, demand): who signs, and what the trust file says of them."""
    way = rng.choice(("stranger", "beside a stranger", "reviewer alone", "root", "threshold", "two", "trust bit", "trust resigned"))
    trust = trust_file()
    if way == "threshold":
        return sealed(draft), trust_file(2), "seal threshold", REFUSED
    if way.startswith("trust"):
        body = trust.split(b"\n")[0].replace(b'"state":"active"', b'"state":"compromised"') if rng.random() < 0.5 else \
            trust.split(b"\n")[0].replace(b'"jobs":[]', b'"jobs":["job-8"]')
        secret = ROOT if way == "trust resigned" else AUTHOR
        line = f"{ed25519.key_id(ed25519.public_key(ROOT))} {ed25519.sign(secret, body).hex()}\n".encode("ascii")
        return sealed(draft), body + b"\n" + line, f"seal {way}", REFUSED
    secrets = {"stranger": (STRANGER,), "beside a stranger": (AUTHOR, STRANGER), "reviewer alone": (REVIEWER,), "root": (ROOT,), "two": (AUTHOR, REVIEWER)}[way]
    return sealed(draft, secrets), trust, f"seal {way}", "accepted" if way == "two" else REFUSED


def byte_lie(rng, bundle):
    """Any bit of the file: there is none that nothing covers."""
    out = bytearray(bundle)
    way = rng.choice(("bit", "bit", "bit", "append", "cut", "insert"))
    i = rng.randrange(len(out))
    if way == "bit":
        out[i] ^= 1 << rng.randrange(8)
    elif way == "append":
        out += bytes([rng.randrange(256)])
    elif way == "cut":
        del out[-rng.randint(1, 40):]
    else:
        out.insert(i, rng.randrange(256))
    return bytes(out), f"file {way}", REFUSED
