"""One request judged: trust file, bundle, evidence and read, in the order of checks of docs/bundle-format.md."""

import ed25519
from consistency import check_consistency
from contents import check_changes, check_files, check_map, check_set, known_of, payload_image
from framing import check_framing, content_of, read_prefix
from manifest import read_changes, read_manifest, read_set
from proof import Proof
from read_files import read_files
from ranges import overlap
from refused import Refused, require, sha256
from region_map import read_region_map
from signers import judge_keys
from trust import read_trust


def verified(bundle, trust):
    """(manifest, its bytes, signatures, signing keys), after steps 1 to 5c."""
    manifest_bytes, pairs = read_prefix(bundle)
    keys = {key["id"]: key for key in trust["keys"]}
    for identity, _ in pairs:
        require(identity in keys, "signer-unknown")
    for identity, signature in pairs:
        require(ed25519.good(bytes.fromhex(keys[identity]["public_key"]), manifest_bytes, signature), "signature-bad")
    manifest = read_manifest(manifest_bytes)
    check_consistency(manifest)
    return manifest, manifest_bytes, pairs, [keys[identity] for identity, _ in pairs]


def take_out(manifest, stored):
    """Step 11: (region map, changes per span, payload)."""
    region_map, changes, contents, controller = None, {}, {}, manifest["controllers"][0]
    for entry, data in zip(manifest["entries"], stored):
        content = contents[entry["name"]] = content_of(entry, data)
        if entry["name"].startswith("regions/"):
            region_map = read_region_map(content)
            check_map(region_map, controller)
        elif entry["name"] == "changes.json":
            changes = check_changes(read_changes(content), region_map, manifest)
        elif entry["name"] == "set.json":
            check_set(read_set(content), manifest)
    payload = payload_image(region_map, controller, contents)
    check_files(region_map, manifest, payload)
    return region_map, changes, payload


def written_files(region_map, opened, image):
    if opened:
        return {each.name: sha256(each.written(image)) for each in opened}
    # Without a read: raw for a whole memory. Other forms follow from nothing that these pages fix, so they give no digest here.
    whole = [m for m in region_map.space.memories if overlap(image.known, [(m.base, m.base + m.size)]) == m.segments]
    return {m.name: sha256(b"".join(image.bytes(first, last) for first, last in m.segments)) for m in whole}


def judge(request):
    """The answer to a request whose files are bytes: {"outcome", "reason", "why", "results"}."""
    try:
        trust = read_trust(request["trust"], request["stated_root"])
        manifest, manifest_bytes, pairs, signers = verified(request["bundle"], trust)
        stored = check_framing(request["bundle"], manifest_bytes, pairs, manifest)
        for entry, data in zip(manifest["entries"], stored):
            require(sha256(data) == entry["stored_digest"], "stored-digest", entry["name"])
        judge_keys(manifest, signers, trust)
        if manifest["trial"]:
            require(request["now"] >= manifest["claimed_time"], "clock-implausible")
            require(request["now"] < manifest["expires"], "expired")
        region_map, changes, payload = take_out(manifest, stored)
        require(not manifest["set"] or manifest["revision"] == 0 or request["seal_only"], "set-incomplete")
        if request["seal_only"]:
            return answer("authentic", "", "", {})
        return answer("accepted", "", "", proved(request, manifest, region_map, changes, payload))
    except Refused as refused:
        return answer("refused", refused.reason, refused.why, {})


def proved(request, manifest, region_map, changes, payload):
    reviving = request["revive"] and not request["reads"]
    require(request["reads"] or (reviving and manifest["revision"] == 0), "read-missing")
    evidence = {"vehicle_reference": request["vehicle_reference"], "salt": request["salt"], "read_is_fresh": request["read_is_fresh"] or reviving}
    if reviving:
        require(request["vehicle_reference"], "vehicle-not-provable")
        read, opened = payload.copy(), []
    else:
        read, opened = read_files(region_map, request["reads"])
    known = known_of(manifest["controllers"][0], region_map.space)
    proof = Proof(manifest, region_map, known, payload, changes)
    return written_files(region_map, opened, proof.run(read, evidence))


def answer(outcome, reason, why, results):
    return {"outcome": outcome, "reason": reason, "why": why, "results": results}
