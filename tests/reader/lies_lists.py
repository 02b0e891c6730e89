"""Lies of signed lists, proofs of inclusion and the newest bundle. As lies_order.py says."""

from bend import bend_bytes, bend_field, digests
from lies_manifest import ACCEPTED, AGREE, REFUSED
from refused import sha256
from shops import AUTHOR, DESK, LEDGER, OTHER_ROOT, REVIEWER, SECOND_AUTHOR, SECOND_DESK, THIEF, TIME, inclusion_of, key_of, sealed_line, statement
from writer import STRANGER, sealed


def list_lie(rng, shop, name, signers, fields, role):
    """A list that lies in a field, is another root's, has the wrong signers, or bytes that are not its own."""
    way = rng.choice(("field", "field", "field", "other root", "roles", "compromised", "unlisted", "bad signature", "scope", "other scope", "validity", "bytes",
                      "literal", "large", "beside"))
    if way == "field" and bend_field(rng, fields) is None:
        return None
    if way == "other root":
        fields["root"] = rng.choice((key_of(OTHER_ROOT), key_of(shop.roots[0])))
    if way == "roles":
        setattr(shop, signers, (rng.choice((LEDGER, REVIEWER, AUTHOR if role == "withdrawal" else DESK)),))
    if way == "compromised":
        setattr(shop, signers, tuple({*getattr(shop, signers), rng.choice((THIEF, SECOND_DESK, SECOND_AUTHOR))}))
    if way == "beside":
        setattr(shop, signers, (*getattr(shop, signers), LEDGER))
    if way == "unlisted":
        setattr(shop, signers, (*getattr(shop, signers), bytes([33]) * 32))
    if way in ("scope", "other scope", "validity"):
        for row in shop.trusts[-1]["keys"]:
            if role in row["roles"]:
                row[rng.choice(("jobs", "controllers"))] = sorted({"x", *(["engine", shop.m["job"]] if way == "scope" else [])}) if way != "validity" else []
                row["valid_until"] = rng.choice((TIME, "2026-01-02T00:00:00Z")) if way == "validity" else ""
    if way == "bad signature":
        shop.edits[name] = lambda data: data[:-10] + bytes([data[-10] ^ 1 if chr(data[-10] ^ 1) in "0123456789abcdef" else 48]) + data[-9:]
    if way == "bytes":
        shop.edits[name] = lambda data: bend_bytes(rng, data)[1]
    if way == "literal":
        shop.edits[name] = lambda data: data.replace(b'/1",', b'/2",', 1)
    if way == "large":
        most = 4194304 if name == "withdrawals" else 1048576
        shop.edits[name] = lambda data: data + b"x" * (most + rng.choice((0, 1)) - len(data))
    return f"{name} {way}", AGREE, None


def withdrawals_lie(rng, shop):
    if not shop.withdrawals:
        return None
    return list_lie(rng, shop, "withdrawals", "list_signers", shop.withdrawals, "withdrawal")


def withdrawals_number(rng, shop):
    """A number that is not above the remembered one, or another list of the same number."""
    if not shop.withdrawals or not shop.state:
        return None
    root, keys = shop.own_root(), sorted(key_of(secret) for secret in shop.list_signers)
    way = rng.choice(("lower", "same, another list", "the same list", "thief's is higher"))
    given = statement(shop.withdrawals, shop.list_signers)
    last = {"number": shop.withdrawals["number"] + (way == "lower"), "list": sha256(given.split(b"\n")[0]) if way == "the same list" else sha256(b"another"), "keys": keys,
            "notices": [one["revision"] for one in shop.withdrawals["notices"]] if way == "the same list" else [], "dropped": []}
    if way == "thief's is higher":
        last["keys"], last["number"] = [key_of(SECOND_DESK)], 2**53 - 1
    root["withdrawals"] = [one for one in root["withdrawals"] if one["keys"] != last["keys"]][-15:] + [last]
    refused = way in ("lower", "same, another list")
    return f"withdrawals number {way}", REFUSED if refused else AGREE, None


def withdrawn(rng, shop):
    """The list names the bundle."""
    if not shop.withdrawals:
        return None
    notices = [one for one in shop.withdrawals["notices"] if one["revision"] != shop.digest]
    shop.withdrawals["notices"] = sorted([*notices, shop.notice(shop.digest)], key=lambda one: one["revision"])
    if rng.random() < 0.2:
        shop.withdrawals["notices"].reverse()
        return "withdrawn, out of order", AGREE, None
    refused = shop.m["revision"] > 0
    return "withdrawn", REFUSED if refused else ACCEPTED, {"withdrawn"} if refused else None


def many_notices(rng, shop):
    """As many notices as a list may have, or one more; with those that a state has to keep as dropped."""
    if not shop.withdrawals:
        return None
    count = 4096 + rng.choice((0, 1))
    shop.withdrawals["notices"] = [shop.notice(one) for one in digests(rng, count)]
    return f"withdrawals of {count}", AGREE, None


def job_list_lie(rng, shop):
    if not shop.job_list:
        return None
    return list_lie(rng, shop, "job_list", "job_list_signers", shop.job_list, "author")


def job_list_rows(rng, shop):
    """Lists that leave the bundle out, number another like it, are ahead of it, or are of another job."""
    if not shop.job_list:
        return None
    way, rows, m = rng.choice(("left out", "same number", "ahead", "other job", "other controller", "many", "replaced")), shop.job_list["revisions"], shop.m
    rows[:] = [row for row in rows if row["sequence"] < m["sequence"]]
    number, base = m["sequence"], m["base"]["number"]
    if way == "same number":
        rows.append({"digest": sha256(b"another"), "base": base, "revision": m["revision"], "sequence": number})
    elif way == "other job":
        shop.job_list["job"] = "job-9"
    elif way == "other controller":
        shop.job_list["controller"] = "transmission"
    elif way == "many":
        start = rows[-1]["base"] if rows else 1
        rows[:] = [{"digest": one, "base": start, "revision": 0, "sequence": i + 1} for i, one in enumerate(digests(rng, 4096 + rng.choice((0, 1))))]
    else:
        own = [{"digest": shop.digest, "base": base, "revision": m["revision"], "sequence": number}] if way != "left out" else []
        rows += own + [{"digest": sha256(b"ahead"), "base": base + (rng.random() < 0.3), "revision": 0 if way == "replaced" else 1, "sequence": number + 2}]
    if not rows:
        return None
    return f"job list {way}", AGREE, None


def inclusion_lie(rng, shop):
    if not shop.inclusion:
        return None
    way = rng.choice(("field", "field", "field", "other revision", "other kind", "head not pinned", "path longer", "path shorter", "index beyond", "bytes",
                      "literal", "large", "none", "beside", "line", "not needed"))
    proof, trust = shop.inclusion, shop.trusts[-1]
    if way == "field" and bend_field(rng, proof) is None:
        return None
    if way == "other revision":
        shop.inclusion, head = inclusion_of(rng, sha256(b"another"))
        trust["ledger_heads"] = [head]
    if way == "other kind":
        proof["entry"] = sealed_line(shop.digest, bytes.fromhex(proof["salt"]), "sent").decode()
    if way == "head not pinned":
        trust["ledger_heads"] = []
    if way == "path longer":
        proof["path"] = proof["path"] + digests(rng, rng.choice((1, 64, 65)))
    if way == "path shorter":
        proof["path"] = proof["path"][:-1]
    if way == "index beyond":
        proof["index"] = proof["head"]["size"] + rng.choice((0, 1))
    if way == "line":
        proof["entry"] = rng.choice((proof["entry"] + "\n", " " + proof["entry"], proof["entry"].replace(":", ": ", 1), proof["entry"][:-1], "x" * 8193))
    if way in ("bytes", "literal"):
        shop.edits["inclusion"] = (lambda data: bend_bytes(rng, data)[1]) if way == "bytes" else lambda data: data.replace(b"inclusion/1", b"inclusion/2")
    if way == "large":
        shop.edits["inclusion"] = lambda data: data + b"x" * (65536 + rng.choice((0, 1)) - len(data))
    if way == "none":
        shop.inclusion = None
    if way == "beside":
        # The other signature alone is enough, whatever the proof shows.
        shop.signers = (AUTHOR, SECOND_AUTHOR)
        if rng.random() < 0.6:
            shop.inclusion, _ = inclusion_of(rng, sha256(b"another"))
    if way == "not needed":
        # Nobody is called compromised, and the proof is damaged or of another revision.
        for row in trust["keys"]:
            row["state"] = "compromised" if row["id"] == key_of(SECOND_AUTHOR) and SECOND_AUTHOR in shop.stolen else "active"
        shop.inclusion, _ = inclusion_of(rng, sha256(b"another"))
        if rng.random() < 0.4:
            shop.edits["inclusion"] = lambda data: data[:-2]
    return f"inclusion {way}", AGREE, None


def newest_lie(rng, shop):
    draft = shop.draft.clone()
    m, way = draft.manifest, rng.choice(("newer", "permits it", "other job", "stranger's", "bytes", "withdrawn too", "higher base"))
    m["title"], m["sequence"] = "another", min(2**40, m["sequence"] + rng.randint(1, 4))
    m["permitted_returns"] = [shop.digest] if way == "permits it" else []
    if way == "other job":
        m["job"] = "job-9"
    if way == "higher base":
        m["base"]["number"] += 1
        m["parent"] = sha256(b"parent")
    shop.newest = draft
    if way == "permits it":
        shop.words["return"] = rng.random() < 0.8
    if way == "bytes":
        shop.edits["newest"] = lambda data: bend_bytes(rng, data)[1]
    if way == "stranger's":
        data = sealed(draft, (STRANGER,))
        shop.edits["newest"] = lambda _: data
    return f"newest {way}", AGREE, None


def empty_file(rng, shop):
    name = rng.choice(("trust", "withdrawals", "job_list", "inclusion", "newest", "successions"))
    shop.edits[name] = lambda given: [*given, b""] if name == "successions" else b""
    return f"empty {name}", REFUSED, {"file-empty"}
