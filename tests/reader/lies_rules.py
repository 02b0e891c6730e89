"""Lies about rules: the region map that a state keeps beside the bundle's own, and approvals of the change. As lies_order.py says."""

from bend import bend_bytes, bend_field, digests
from lies_manifest import AGREE, REFUSED
from older_maps import older_map
from refused import sha256
from shops import AUTHOR, DESK, MAPPER, ROOT, SECOND_AUTHOR, THIEF, TIME, key_of, remembered, statement
from state import digest_of_map


def approval_fields(controller, first, last):
    return {"calseal": "approval/1", "controller": controller, "from": first, "to": last, "claimed_time": TIME, "text": "idle region added"}


def knows_map(rng, shop, digest, texts=()):
    """The state remembers one older revision, sealed with this map, or a way back alone."""
    job, secrets = shop.own_job(), rng.choice(((AUTHOR,), (AUTHOR,), (SECOND_AUTHOR,), ()))
    one = {"base": 1, "sequence": max(1, shop.m["sequence"] - 1), "revision": sha256(b"older"), "map": digest, "reviewed": False, "keys": sorted(map(key_of, secrets))}
    job["revisions"], job["ways_back"] = [{**one, "set": "", "returns": []}], []
    if rng.random() < 0.2:
        job["revisions"], job["ways_back"] = [], [one]
    shop.keep_maps(texts)


def same_map_rows(rng, shop):
    """A map of the same name and version, or with the version gone up and nothing else changed."""
    if not shop.state or shop.m["sequence"] == 1:
        return None
    way = rng.choice(("same version", "version alone", "not kept", "other name"))
    _, text = older_map(rng, shop.world.fields)
    own = shop.world.map_bytes.decode("utf-8")
    if way == "same version":
        text = own.replace('"evidence":', '"note":"another","evidence":', 1)
    elif way == "version alone":
        text = own.replace('"version":3', '"version":2', 1)
    elif way == "other name":
        text = own.replace('"name":"', '"name":"x', 1)
    knows_map(rng, shop, sha256(text.encode("utf-8")), () if way == "not kept" else (text,))
    return f"rules {way}", AGREE, None


def widened(rng, shop):
    """An older map that allowed less, or more, or the same in other words; nobody approved the change."""
    if not shop.state or shop.m["sequence"] == 1:
        return None
    word, text = older_map(rng, shop.world.fields)
    knows_map(rng, shop, sha256(text.encode("utf-8")), (text,))
    return f"rules {word}", AGREE, None


def approved(rng, shop):
    """The same, and somebody approved it: rightly, by the wrong key, for another map, in several steps, or not at all."""
    if not shop.state or shop.m["sequence"] == 1:
        return None
    word, text = older_map(rng, shop.world.fields)
    first, last, controller = sha256(text.encode("utf-8")), shop.map_digest, shop.m["controllers"][0]["name"]
    knows_map(rng, shop, first, (text,) if rng.random() < 0.8 else ())
    way = rng.choice(("right", "right", "by the root", "by an author", "with another", "steps", "circle", "gap", "turned round", "controller", "field", "bytes", "stranger", "stolen",
                      "scope", "validity", "large", "literal", "from is to", "seventeen", "sixteen", "old root", "not a file"))
    files = [approval_file(rng, shop, way, approval_fields(controller, first, last))]
    middle = digests(rng, 2)
    if way in ("steps", "circle", "gap"):
        steps = [(first, middle[0]), (middle[0], middle[1]), (middle[1], last)]
        steps = steps + [(middle[1], first)] if way == "circle" else steps[:2] if way == "gap" else steps
        files = [statement(approval_fields(controller, *step), (MAPPER,)) for step in rng.sample(steps, len(steps))]
    if way in ("sixteen", "seventeen"):
        files = [statement(approval_fields(controller, digests(rng, 1)[0], last), (MAPPER,))] * (15 if way == "sixteen" else 16) + files
    shop.m["approvals"] = [data.decode("latin-1") if way == "bytes" else data.decode("utf-8") for data in files]
    shop.reseal()
    return f"approved {way}, {word}", REFUSED if way == "seventeen" else AGREE, None


def approval_file(rng, shop, way, fields):
    signers = {"by the root": (ROOT,), "by an author": (AUTHOR,), "with another": (MAPPER, DESK), "stranger": (bytes([33]) * 32,), "stolen": (THIEF,),
               "old root": (shop.roots[0],)}.get(way, (MAPPER,))
    if way == "turned round":
        fields["from"], fields["to"] = fields["to"], fields["from"]
    elif way == "controller":
        fields["controller"] = "transmission"
    elif way == "from is to":
        fields["from"] = fields["to"]
    elif way == "field":
        bend_field(rng, fields)
    row = next(row for row in shop.trusts[-1]["keys"] if row["id"] == key_of(MAPPER))
    if way in ("scope", "validity", "stolen"):
        shop.trusts[-1]["version"] += 1  # which no state knows yet
    if way == "scope":
        row.update(rng.choice(({"jobs": [shop.m["job"]]}, {"controllers": ["engine"]}, {"controllers": ["x"]}, {"region_maps": [sha256(b"x")]})))
    elif way == "validity":
        row["valid_until"] = rng.choice((TIME, "2026-03-05T00:00:00Z"))
    elif way == "stolen" and rng.random() < 0.5:
        signers, row["state"] = (MAPPER,), "compromised"
    data = statement(fields, signers)
    if way == "bytes":
        data = bend_bytes(rng, data)[1]
    elif way == "literal":
        data = data.replace(b"approval/1", b"approval/2")
    elif way == "large":
        data += b"x" * (16384 + rng.choice((0, 1)) - len(data))
    elif way == "not a file":
        data = rng.choice((b"", b"{}", b"x" * 65536, b"x" * 65537))
    return data


def key_of_maps(rng, shop):
    """The author may seal with certain region maps alone: this one, one that approvals lead from, or another."""
    way = rng.choice(("this one", "another", "approved", "approved twice", "approved for another"))
    first = sha256(b"a map of before")
    row = next(row for row in shop.trusts[-1]["keys"] if row["id"] == key_of(AUTHOR))
    shop.trusts[-1]["version"] += 1  # which no state knows yet
    row["region_maps"] = sorted({shop.map_digest if way == "this one" else first, sha256(b"one more")})
    if way.startswith("approved"):
        controller, middle = shop.m["controllers"][0]["name"], sha256(b"between")
        steps = {"approved": [(first, shop.map_digest)], "approved twice": [(first, middle), (middle, shop.map_digest)], "approved for another": [(first, middle)]}[way]
        shop.m["approvals"] = [statement(approval_fields(controller, *step), (rng.choice((MAPPER, MAPPER, ROOT)),)).decode() for step in steps]
        shop.reseal()
    refused = way in ("another", "approved for another")
    return f"key of maps, {way}", REFUSED if refused else AGREE, None


def state_maps(rng, shop):
    """Texts that a state keeps: of nobody, twice, out of order, too many, too large, no map; and no room for one more."""
    if not shop.state or not shop.state["roots"]:
        return None
    way = rng.choice(("of nobody", "twice", "turned round", "64", "65", "one just fits", "one too large", "all just fit", "all too large", "no map", "empty"))
    texts = {"of nobody": ["nobody's"], "twice": ["one", "one"], "turned round": ["one", "two", "three"], "64": [f"{i:04d}" for i in range(64)],
             "65": [f"{i:04d}" for i in range(65)], "one just fits": ["x" * 1048576], "one too large": ["x" * 1048577], "all just fit": ["x" * 1048576, "y" * 1048576],
             "all too large": ["x" * 1048576, "y" * 1048575, "zz"], "no map": ["{}"], "empty": [""]}[way]
    if way != "of nobody":
        somebody_has(shop.own_root(), texts)
    shop.state["maps"] = sorted(texts, key=digest_of_map, reverse=way == "turned round")
    shop.drop_empty_jobs()
    return f"state maps {way}", AGREE, None


def somebody_has(root, texts):
    """Jobs of others whose ways back have these maps."""
    digests_of = sorted({digest_of_map(text) for text in texts})
    jobs = [{"job": f"others-{at}", "controller": "engine", "revisions": [], "ways_back": [remembered(base=1, sequence=1, revision=digest, map=digest, reviewed=False,
                                                                                                            keys=[key_of(THIEF)]) for digest in digests_of[at:at + 32]]}
            for at in range(0, len(digests_of), 32)]
    root["jobs"] = sorted([*root["jobs"], *jobs], key=lambda one: (one["job"], one["controller"]))


LIES = [same_map_rows, *4 * [widened], *4 * [approved], key_of_maps, *2 * [state_maps]]
