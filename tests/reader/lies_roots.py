"""Lies of trust files and of the successions that lead to their root. As lies_order.py says."""

import copy

from bend import bend_bytes, bend_field
from lies_manifest import AGREE, REFUSED
from shops import AUTHOR, OTHER_ROOT, ROOT, STRANGER_ROOT, key_of, statement, succession_fields, trust_fields
from state import find_root


def unrelated(rng, shop):
    """A state of another shop; with the root stated it is let through."""
    if not shop.state:
        return None
    shop.state["roots"] = []
    root = shop.own_root()
    root["root"] = key_of(STRANGER_ROOT)
    shop.keep_maps()
    shop.stated = rng.choice((None, None, *shop.roots))
    return "state unrelated", REFUSED if shop.stated is None else AGREE, {"root-unrelated"} if shop.stated is None else None


def fork(rng, shop):
    """The state records another successor of a root of the chain, and perhaps what was learned under it."""
    if not shop.state or len(shop.roots) < 2:
        return None
    step = rng.randrange(len(shop.roots) - 1)
    old = find_root(shop.state, key_of(shop.roots[step])) or shop.learn_root(shop.state, step)
    old["next"] = key_of(OTHER_ROOT)
    if rng.random() < 0.6:
        other = copy.deepcopy(old)
        other.update(root=key_of(OTHER_ROOT), next=rng.choice(("", key_of(STRANGER_ROOT), key_of(ROOT), key_of(shop.roots[step]))))
        other["compromised"] = sorted({*other["compromised"], *([key_of(AUTHOR)] if rng.random() < 0.3 else [])})
        shop.state["roots"] = sorted([*[r for r in shop.state["roots"] if r["root"] != other["root"]], other], key=lambda one: one["root"])
    shop.stated = rng.choice((None, *shop.roots, shop.roots[-1]))
    behind = shop.stated and shop.roots.index(shop.stated) > step
    return f"fork {'settled' if behind else 'open'}", AGREE if behind else REFUSED, None


def thief_chain(rng, shop):
    """A thief of a root leads to a root of his own, with a trust file of his own making."""
    step = rng.randrange(len(shop.roots))
    keys = shop.key_rows()
    if rng.random() < 0.4:
        for row in keys:
            row["state"] = "active"
    shop.trusts[step:] = [trust_fields(shop.roots[step], rng.choice((1, 99)), keys, OTHER_ROOT), trust_fields(OTHER_ROOT, 1, keys)]
    shop.roots[step + 1:] = [OTHER_ROOT]
    shop.stated = rng.choice((None, None, OTHER_ROOT, ROOT, shop.roots[0]))
    for one in (shop.withdrawals, shop.job_list):
        if one and rng.random() < 0.7:
            one["root"] = key_of(OTHER_ROOT)
    return "thief's successor", AGREE, None


def chain_order(rng, shop):
    """Steps missing, doubled, turned round, of nobody, or too many."""
    if len(shop.roots) < 2:
        return None
    way = rng.choice(("first missing", "last missing", "doubled", "reversed", "stranger's", "circle", "seventeen"))

    def edit(chain):
        if way == "seventeen":
            return (chain * 17)[:17]
        if way in ("stranger's", "circle"):
            first, second = (STRANGER_ROOT, OTHER_ROOT) if way[0] == "s" else (ROOT, shop.roots[0])
            trust = statement(trust_fields(first, 1, shop.key_rows(), second), (first,))
            return chain + [statement(succession_fields(trust, second), (first, second))]
        return {"first missing": chain[1:], "last missing": chain[:-1], "doubled": chain + chain[-1:], "reversed": chain[::-1]}[way]
    shop.edits["successions"] = edit
    fine = way == "first missing" or (way in ("reversed", "last missing") and len(shop.roots) == 2)
    return f"chain {way}", AGREE if fine else REFUSED, None


def succession_lie(rng, shop):
    """One step lies: a field, its trust file, its signatures, its bytes."""
    if len(shop.roots) < 2:
        return None
    step = rng.randrange(len(shop.roots) - 1)
    old, new = shop.roots[step], shop.roots[step + 1]
    way = rng.choice(("field", "old trust", "old trust bytes", "not announced", "old root alone", "new root alone", "three", "bytes", "weak", "large",
                      "large text", "literal"))
    trust, signers = copy.deepcopy(shop.trusts[step]), (old, new)
    if way == "old trust" and bend_field(rng, trust) is None:
        return None
    if way == "not announced":
        trust["next_root"] = rng.choice(("", key_of(OTHER_ROOT), key_of(old)))
    if way == "large text":
        # A trust file above 65,536 bytes, which no other text may have.
        for row in trust["keys"]:
            row["jobs"] = sorted(f"j{i:04d}-{'x' * 40}" for i in range(256))
    fields = succession_fields(statement(trust, (old,)), new)
    if way == "field" and bend_field(rng, fields) is None:
        return None
    if way == "old trust bytes":
        fields["old_trust"] = bend_bytes(rng, fields["old_trust"].encode("ascii"))[1].decode("latin-1")
    if way == "weak":
        fields["new_root"] = "00" * 32
    signers = {"old root alone": (old,), "new root alone": (new,), "three": (old, new, OTHER_ROOT)}.get(way, signers)
    data = statement(fields, signers)
    if way == "bytes":
        data = bend_bytes(rng, data)[1]
    elif way == "literal":
        data = data.replace(b"succession/1", b"succession/2")
    elif way == "large":
        data += b"x" * (655360 + rng.choice((0, 1)) - len(data))
    shop.edits["successions"] = lambda chain: [*chain[:step], data, *chain[step + 1:]]
    return f"succession {way}", AGREE if way in ("field", "old trust", "large text") else REFUSED, None


def trust_lie(rng, shop):
    """The trust file in use: a field, bytes, the root stated otherwise; perhaps beside a chain that is no chain."""
    way = rng.choice(("field", "bytes", "stated", "stated text", "large", "both"))
    trust, i = shop.trusts[-1], len(shop.roots) - 1
    if way == "field" and bend_field(rng, trust) is None:
        return None
    if way in ("bytes", "both"):
        data = bend_bytes(rng, shop.trust_file(i))[1]
        shop.edits["trust"] = lambda _: data
    if way == "both":
        shop.edits["successions"] = lambda chain: chain + [b'{"calseal":"succession/1",\n']
    if way == "large":
        shop.edits["trust"] = lambda data: data + b"x" * (262144 + rng.choice((0, 1)) - len(data))
    if way == "stated":
        shop.stated = OTHER_ROOT
    if way == "stated text":
        word = rng.choice((key_of(ROOT).upper(), f" {key_of(ROOT)}. ", "K", " ", key_of(ROOT)[:-1]))
        shop.edits["stated_root"] = lambda _: word
    return f"trust {way}", AGREE if way in ("field", "stated text") else REFUSED, None
