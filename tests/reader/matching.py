"""Match: the read is from a controller with the base's software, of this family, from this vehicle (docs/proof.md)."""

import hashlib
import hmac

from contents import spans_of
from descriptors import PINNED, text_of
from ranges import touches
from refused import require, sha256


def lay_patches(region_map, image, first, last, choice):
    """The image's bytes of a span with every overlapping patch laid as chosen, as far as its bytes are known."""
    out = bytearray(image.bytes(first, last))
    for (a, b, patch), side in zip(region_map.patches, choice):
        for at in range(max(a, first), min(b, last)):
            out[at - first] = patch[side][at - a]
    return bytes(out)


def stands(patch, image):
    """"before", "after", or nothing for a broken one."""
    first, last, fields = patch
    known = [at for at in range(first, last) if image.knows([(at, at + 1)])]
    for side in ("before", "after"):
        if all(image.data[at] == fields[side][at - first] for at in known):
            return side
    return None


def check_family(region_map, image):
    recognise = region_map.recognise
    judged = 0
    for element in (recognise or {"all": []})["all"]:
        first, last = region_map.space.range(element, 0, "at", len(element["bytes"]))
        if image.knows([(first, last)]):
            judged += 1
            mask = element["mask"] or b"\xff" * len(element["bytes"])
            found = image.bytes(first, last)
            require(all((a ^ b) & m == 0 for a, b, m in zip(found, element["bytes"], mask)), "family-mismatch", element)
    for first, last, field in region_map.fields_of_identity:
        if recognise and recognise["software_numbers"] and field["kind"] == "software-number" and image.knows([(first, last)]):
            judged += 1
            require(text_of(field, image.bytes(first, last)) in recognise["software_numbers"], "family-mismatch", field["name"])
    require(judged or not recognise, "family-mismatch", "nothing known to recognise by")
    for node in region_map.nodes:
        marker = node.kind == "copy" and node.fields["active_bank"]
        if marker:
            first, last = region_map.space.range(marker, 0, "at", len(marker["equals"]))
            require(image.knows([(first, last)]) and image.bytes(first, last) == marker["equals"], "bank-not-active", node.name)


def salted(controller, place, salt, content):
    message = f"{controller} {place['memory']} {place['start']} {place['size']}\n".encode("ascii") + content
    return hmac.new(salt, message, hashlib.sha256).hexdigest()


def check_vehicle(manifest, region_map, read, evidence):
    """"proved", "by reference"."""
    reference, salt = evidence["vehicle_reference"], evidence["salt"]
    require(reference == "" or reference == manifest["vehicle_reference"], "vehicle-reference")
    compared = 0
    if salt is not None and manifest["salt_digest"]:
        require(sha256(salt) == manifest["salt_digest"], "salt-wrong")
        for (first, last, _), stated in zip(region_map.binding(), manifest["controllers"][0]["binding"]):
            if stated["digest"]:
                found = salted(region_map.controller, stated, salt, read.bytes(first, last))
                require(found == stated["digest"], "vehicle-mismatch", stated["name"])
                compared += 1
    require(compared or reference, "vehicle-not-provable")
    return "proved" if compared else "by reference"


def check_match(manifest, region_map, known, read, evidence):
    controller = manifest["controllers"][0]
    spans = [entry for entry in spans_of(controller, region_map.space) if touches([entry[:2]], known)]
    for first, last, span in spans:
        if span["kind"] in PINNED or span["kind"] == "binding":
            require(read.knows([(first, last)]), "read-incomplete", span)
    results = [patch["result"] for patch in controller["patches"]]
    for first, last, span in spans:
        if span["kind"] == "locked":
            require(sha256(lay_patches(region_map, read, first, last, results)) == span["after"], "read-foreign", span)
    for patch in region_map.patches:
        require(stands(patch, read), "change-patch", patch[2]["name"])
    check_family(region_map, read)
    return check_vehicle(manifest, region_map, read, evidence)
