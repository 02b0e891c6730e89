"""Rows of fixtures/parcels for what is given beside a parcel, for closed parcels and for files with two faults: docs/parcel.md, checks 8 to 12, closed parcels."""

import hpke
import x25519
from closed import INFO, MAGIC, PIECE, closed
from parcel_writer import (CUSTOMER, EPHEMERAL, OTHER_CUSTOMER, OTHER_SHOP_KEY, SHOP_KEY, Draft, key_id, noise, sheet_fields, sheet_file, trust_file)
from shops import OLD_ROOTS, OTHER_ROOT, STRANGER_ROOT, statement, succession_fields
from vector_parcels import flipped, ordered, parcel, parts, signature_at, small, two, with_header, with_signature, with_text
from writer import ROOT

TRUST = trust_file()


# ---- 8 and 9

def shops():
    old = OLD_ROOTS[0]
    succession = statement(succession_fields(trust_file(root=old, following=ROOT), ROOT), [old, ROOT])
    yield parcel("shop", "accepted", "check 8: the trust file's root", small().sealed(), trust=TRUST)
    yield parcel("shop-none", "accepted", "check 8: a parcel for no shop in particular", small(root="").sealed(), trust=TRUST)
    yield parcel("shop-not-judged", "accepted", "check 8: no trust file was given", small(root=key_id(STRANGER_ROOT)).sealed())
    yield parcel("shop-succeeded", "accepted", "check 8: a root that the trust file's succeeded", small(root=key_id(old)).sealed(), trust=TRUST, successions=[succession])
    yield parcel("shop-other", "parcel-other", "check 8: another root", small(root=key_id(STRANGER_ROOT)).sealed(), trust=TRUST)
    yield parcel("shop-succession-missing", "parcel-other", "check 8: the old root, but no succession was given", small(root=key_id(old)).sealed(), trust=TRUST)
    yield parcel("shop-next-root", "parcel-other", "check 8: a root that is only announced", small(root=key_id(OTHER_ROOT)).sealed(),
                 trust=trust_file(following=OTHER_ROOT))
    yield parcel("shop-succession-other", "parcel-other", "check 8: a chain that the root is not in", small(root=key_id(STRANGER_ROOT)).sealed(), trust=TRUST, successions=[succession])
    yield parcel("shop-trust-damaged", "trust-invalid", "the trust file has its own checks", small().sealed(), trust=flipped(TRUST, 60))
    sheet = sheet_file()
    older = {**sheet_fields(), "number": 2, "cautions": []}
    yield parcel("sheet", "accepted", "check 9: the sheet that was given", ordered().sealed(), trust=TRUST, sheet=sheet)
    yield parcel("sheet-older", "accepted", "check 9: the parcel of an older sheet is taken, and that is said", ordered().sealed(), trust=TRUST,
                 sheet=sheet_file(older), cautions=["sheet-other"])
    yield parcel("sheet-signed-by-two", "accepted", "check 9: the digest is that of the first line, whoever signed it", ordered().sealed(), trust=TRUST,
                 sheet=sheet_file(secrets=(bytes([11]) * 32, bytes([12]) * 32)))
    yield parcel("sheet-damaged", "signature-bad", "the sheet has its own checks", ordered().sealed(), trust=TRUST, sheet=sheet.replace(b"petrol", b"diesel"))


# ---- 10 to 12

def jobs():
    here = {"job": "oak-17", "vehicle_reference": "blue estate"}
    yield parcel("job", "accepted", "check 10: the job's name and vehicle", small(job="oak-17").sealed(), **here)
    yield parcel("job-not-named", "accepted", "check 10: a parcel that names no job and no vehicle", small(vehicle_reference="").sealed(), **here)
    yield parcel("job-without-word", "accepted", "check 10: the job has no word for the vehicle", small(vehicle_reference="red van").sealed(), job="oak-17", vehicle_reference="")
    yield parcel("job-not-taken", "accepted", "check 10: not taken into a job", small(job="elm-3", vehicle_reference="red van").sealed())
    yield parcel("job-other", "parcel-other", "check 10: another job", small(job="elm-3").sealed(), **here)
    yield parcel("job-vehicle-other", "parcel-other", "check 10: another vehicle", small(vehicle_reference="red van").sealed(), **here)
    yield parcel("job-vehicle-case", "parcel-other", "check 10: words are compared by bytes", small(vehicle_reference="Blue estate").sealed(), **here)
    first, third, others = small(number=4).sealed(), Draft(number=9, words="And now?").sealed(), small(OTHER_CUSTOMER, number=30).sealed()
    yield parcel("customer-second", "accepted", "check 11: the same key, a higher number", small(number=5).sealed(), **here, earlier=[first])
    yield parcel("customer-other", "parcel-other", "check 11: another key", small(OTHER_CUSTOMER, number=40).sealed(), **here, earlier=[first])
    yield parcel("customer-changed", "accepted", "check 11: the customer changed it; numbers of another key do not matter", small(OTHER_CUSTOMER, number=1).sealed(), **here,
                 earlier=[first, third], customer_changed=True)
    yield parcel("customer-changed-not", "accepted", "check 11: said in vain, the key is the first one's", small(number=10).sealed(), **here, earlier=[first, third],
                 customer_changed=True)
    yield parcel("number-same-parcel", "parcel-old", "check 12: this very parcel came before", first, **here, earlier=[first])
    yield parcel("number-same", "parcel-old", "check 12: another parcel of the same number", Draft(number=4, words="Again.").sealed(), **here, earlier=[first])
    yield parcel("number-between", "parcel-old", "check 12: below that of the newest", small(number=7).sealed(), **here, earlier=[first, third])
    yield parcel("number-newest-first", "parcel-old", "check 12: the newest is the one with the highest number, not the last one", small(number=7).sealed(), **here, earlier=[third, first])
    yield parcel("number-changed-customer", "parcel-old", "check 12: also for a key that the customer changed to", small(OTHER_CUSTOMER, number=30).sealed(), **here,
                 earlier=[first, others], customer_changed=True)
    yield parcel("number-no-job", "accepted", "checks 11 and 12: not taken into a job", small(number=1).sealed())


# ---- closed parcels

SHOP = x25519.public_key(SHOP_KEY)
SMALL = sorted(x25519.SMALL)


def sealed_by_hand(pieces, info=INFO, ephemeral=EPHEMERAL):
    """Pieces with their own `aad`, in this order."""
    enc, context = hpke.sender(SHOP, ephemeral, info)
    return MAGIC + enc + b"".join(context.seal(aad, text) for aad, text in pieces)


def closed_parcels():
    file = two(number=3).sealed()
    shut = closed(file, SHOP, EPHEMERAL)
    yield parcel("closed", "accepted", "closed to this key", shut, parcel_key=SHOP_KEY, trust=TRUST)
    yield parcel("closed-not", "accepted", "a parcel that is not closed; the key is not used", file, parcel_key=SHOP_KEY)
    half = len(file) // 2
    for name, bent, note in (
            ("closed-other-key", closed(file, x25519.public_key(OTHER_SHOP_KEY), EPHEMERAL), "to another key"), ("closed-enc", flipped(shut, 17), "a bit of enc"),
            ("closed-enc-top-bit", flipped(shut, 48, 0x80), "the top bit of enc"), ("closed-bit", flipped(shut, 49), "a bit of the first byte"),
            ("closed-tag", flipped(shut, len(shut) - 1), "a bit of the last byte"), ("closed-cut", shut[:-1], "a byte cut off"), ("closed-extended", shut + b"\x00", "a byte appended"),
            ("closed-nothing", shut[:49], "nothing after enc"), ("closed-header-cut", shut[:40], "cut in enc"), ("closed-begin-only", shut[:17], "nothing but the beginning"),
            ("closed-tag-alone", shut[:49] + shut[-16:], "a piece of 16 bytes"), ("closed-nothing-sealed", sealed_by_hand([(b"\x01", b"")]), "a last piece without a byte"),
            ("closed-not-last", sealed_by_hand([(b"\x00", file)]), "the last piece is not sealed as the last"), ("closed-no-aad", sealed_by_hand([(b"", file)]), "sealed without aad"),
            ("closed-info", sealed_by_hand([(b"\x01", file)], b"calseal parcel/2"), "another info"),
            ("closed-pieces-small", sealed_by_hand([(b"\x00", file[:half]), (b"\x01", file[half:])]), "pieces of another size"),
            ("closed-second-first", sealed_by_hand([(b"\x00", b"x" * 16), (b"\x01", file)])[:49] + sealed_by_hand([(b"\x00", b"x" * 16), (b"\x01", file)])[81:], "sealed as the second")):
        yield parcel(name, "parcel-closed", f"closed: {note}", bent, parcel_key=SHOP_KEY)
    yield parcel("closed-no-key", "parcel-closed", "closed: no key was given", shut)
    for i, enc in enumerate(SMALL, 1):
        # What a sender gets who takes the exchange's zeros for a secret.
        context = hpke.Context(hpke.labeled_expand(hpke.KEM, hpke.labeled_extract(hpke.KEM, b"", b"eae_prk", bytes(32)), b"shared_secret", enc + SHOP, 32), INFO)
        yield parcel(f"closed-enc-small-{i}", "parcel-closed", "closed: enc of small order, under which anybody knows the secret", MAGIC + enc + context.seal(b"\x01", file),
                     parcel_key=SHOP_KEY)
    yield parcel("closed-begin", "type-wrong", "one bit of the beginning, and it is no closed parcel", flipped(shut, 3), parcel_key=SHOP_KEY)
    yield parcel("closed-format-2", "type-wrong", "another number in the beginning", shut.replace(b"parcel/1", b"parcel/2", 1), parcel_key=SHOP_KEY)
    yield parcel("closed-twice", "type-wrong", "what is inside is opened no second time", closed(shut, SHOP, OTHER_SHOP_KEY), parcel_key=SHOP_KEY)
    yield parcel("closed-damaged", "signature-bad", "what is inside has its own checks", closed(with_signature(file, lambda s: flipped(s, 1)), SHOP, EPHEMERAL), parcel_key=SHOP_KEY)
    yield parcel("closed-small-inside", "parcel-invalid", "what is inside has its own checks: 97 bytes", closed(file[:97], SHOP, EPHEMERAL), parcel_key=SHOP_KEY)


def padded(size):
    """A parcel of exactly this size."""
    draft = Draft().read(noise("large", 1000))
    for _ in range(4):  # the size is in the text too, so that it settles after some turns
        content = draft.contents[0][1]
        draft.contents[0] = ("reads/1.bin", noise("large", len(content) + size - len(draft.sealed())), False)
    return draft.sealed()


def large_parcels():
    """Of several pieces: too large to be kept, so they are made anew."""
    file = padded(2 * PIECE + 1000)
    shut = closed(file, SHOP, EPHEMERAL)
    first, second, last = 49, 49 + PIECE + 16, 49 + 2 * (PIECE + 16)
    yield parcel("large", "accepted", "closed: three pieces", shut, parcel_key=SHOP_KEY)
    for name, bent, note in (
            ("large-exchanged", shut[:first] + shut[second:last] + shut[first:second] + shut[last:], "two pieces exchanged"), ("large-without-first", shut[:first] + shut[second:], "the first piece is missing"),
            ("large-without-second", shut[:second] + shut[last:], "the second piece is missing"), ("large-cut-at-piece", shut[:last], "cut off after the second piece"),
            ("large-doubled", shut[:second] + shut[first:], "the first piece twice"), ("large-bit", flipped(shut, last + 5), "a bit of the last piece")):
        yield parcel(name, "parcel-closed", f"closed: {note}", bent, parcel_key=SHOP_KEY)
    whole = padded(PIECE)
    yield parcel("large-one-piece", "accepted", "closed: one whole piece", closed(whole, SHOP, EPHEMERAL), parcel_key=SHOP_KEY)
    yield parcel("large-empty-last", "parcel-closed", "closed: a whole piece, and a last one without a byte", sealed_by_hand([(b"\x00", whole), (b"\x01", b"")]), parcel_key=SHOP_KEY)
    yield parcel("large-two-pieces", "accepted", "closed: a whole piece and one of a byte", closed(padded(PIECE + 1), SHOP, EPHEMERAL), parcel_key=SHOP_KEY)


# ---- which of two faults counts

def two_faults():
    file = two().sealed()
    places, directory, _ = parts(file)
    at = signature_at(file)
    bad_seal = with_signature(file, lambda s: flipped(s, 5))
    here = {"job": "oak-17", "vehicle_reference": "blue estate"}
    strange = {"root": key_id(STRANGER_ROOT), "job": "elm-3"}
    for name, expect, bent, given, note in (
            ("both-size-type", "parcel-invalid", b"\x00" * 97, {}, "size before type"), ("both-type-crc", "type-wrong", with_header(with_header(file, 12, "<H", 0), 14, "<I", 0), {}, "type before CRC-32"),
            ("both-crc-format", "parcel-invalid", flipped(file, 19 + 41), {}, "CRC-32 before format"),
            ("both-signatures-format", "parcel-invalid", two().text(lambda t: t.replace(b"/1", b"/2", 1)).sealed([CUSTOMER, OTHER_CUSTOMER]), {}, "number of signatures before format"),
            ("both-format-id", "format-unknown", two().text(lambda t: t.replace(b"/1", b"/2", 1)).sealed([OTHER_CUSTOMER]), {}, "format before key id"),
            ("both-id-weak", "parcel-invalid", two(key="00" * 32).sealed(), {}, "key id before weak key"),
            ("both-seal-json", "signature-bad", with_text(file, lambda t: t + b"}"), {}, "signature before JSON"), ("both-seal-frame", "signature-bad", bad_seal + b"\x00", {}, "signature before framing"),
            ("both-json-frame", "parcel-invalid", two().text(lambda t: t + b"\n").sealed() + b"\x00", {}, "JSON before framing"),
            ("both-fit-frame", "parcel-invalid", two(order=["towing"]).sealed()[:-1], {}, "what must fit together before framing"),
            ("both-frame-stored", "framing-damaged", flipped(flipped(file, places[3] - 1), directory + 12), {}, "the directory before stored bytes"),
            ("both-stored-content", "stored-digest", flipped(two().bend(lambda f, _: f["entries"][0].update(crc32="0x00000000")).sealed(), directory - 1), {}, "all stored bytes before the first content"),
            ("both-content-shop", "content-digest", two(**strange).bend(lambda f, _: f["entries"][0].update(crc32="0x00000000")).sealed(), {"trust": TRUST}, "contents before the shop"),
            ("both-cut-in-signature", "parcel-invalid", file[:at + 100], {}, "cut before anything is verified"),
            ("both-job-number", "parcel-other", two(job="elm-3").sealed(), {**here, "earlier": [two(number=4).sealed()]}, "the job before the number"),
            ("both-shop-number", "parcel-other", two(**strange).sealed(), {**here, "trust": TRUST, "earlier": [two(number=4).sealed()]}, "the shop before the number"),
            ("both-closed-inside", "parcel-closed", flipped(closed(bad_seal, SHOP, EPHEMERAL), 60), {"parcel_key": SHOP_KEY}, "damage outside before what is inside"),
            ("both-closed-short", "parcel-closed", MAGIC, {"parcel_key": SHOP_KEY}, "a closed parcel is opened before its size is looked at")):
        yield parcel(name, expect, f"two faults: {note}", bent, **given)
    yield parcel("both-sheet-number", "parcel-old", "two faults: a refusal has no cautions", ordered(number=2).sealed(), **here, trust=TRUST, sheet=sheet_file({**sheet_fields(), "number": 4}),
                 earlier=[two(number=4).sealed()])


def rows():
    for part in (shops, jobs, closed_parcels, large_parcels, two_faults):
        yield from part()
