"""Step 8 of a region map: what a checksum declares about itself, then its coverage, swap, substitutes and balance."""

import gf2
from algorithms import Crc, Sum, algorithm
from ranges import inside, merged, touches
from refused import require

MOST_READ = 2**32


def check_declarations(region_map):
    for checksum in region_map.fields["checksums"]:
        check_declaration(checksum)


def fits(condition, why):
    require(condition, "map-checksum", why)


def check_parameters(spec):
    if isinstance(spec.get("crc"), dict):
        crc = spec["crc"]
        fits(3 <= crc["width"] <= 64 and crc["poly"] & 1, "width or poly")
        fits(all(crc[key] < 1 << crc["width"] for key in ("poly", "init", "xorout")), "wider than the CRC")
    if isinstance(spec.get("crc"), str):
        fits(algorithm(spec).width <= 64, "a CRC wider than 64 bits")
    if "sum" in spec:
        unit, accumulator = spec["sum"]["unit"], spec["sum"]["accumulator"]
        fits(unit in (8, 16, 32, 64), "unit")
        accumulator = unit if accumulator is None else accumulator
        fits(8 <= accumulator <= 64 and spec["sum"]["init"] < 1 << accumulator, "accumulator or init")
        fits(spec["sum"]["operation"] != "xor" or accumulator >= unit, "an accumulator narrower than the words")


def check_declaration(c):
    check_parameters(c["algorithm"])
    computed = algorithm(c["algorithm"])
    if "sha" in c["algorithm"]:
        fits(c["complement"] is None and c["add"] is None and c["bits"] is None and c["rule"] is None, "SHA-256")
    fits(c["add"] is None or c["add"] < 1 << computed.width, "add")
    fits(c["bits"] is None or 1 <= c["bits"] <= computed.width, "bits")
    fits((c["slots"] is None) != (c["rule"] is None), "slots or rule")
    fits(c["drafted"] is None or not (c["rule"] and c["rule"]["balance"]), "drafted beside a balance")
    bits = c["bits"] or computed.width
    if c["slots"] and "sha" in c["algorithm"]:
        check_sha_slots(c["slots"])
    elif c["slots"]:
        check_slots(c["slots"], bits)
    else:
        equals = c["rule"]["equals"]
        if equals == "residue":
            fits("crc" in c["algorithm"] and c["complement"] is None and c["add"] is None and c["bits"] is None, "residue")
        else:
            fits(equals < 1 << bits, "equals")
    check_repetition(c)
    fits(any("literal" not in piece for piece in c["coverage"]), "literals alone")


def check_repetition(c):
    strides = [p["stride"] for p in c["coverage"] if "memory" in p] + [s["stride"] for s in c["substitute"] + (c["slots"] or [])]
    strides += [c["rule"]["balance"]["stride"]] if c["rule"] and c["rule"]["balance"] else []
    fits(c["repeat"] is not None or not any(strides), "a stride without repeat")
    for piece in c["coverage"]:
        if "table" in piece:
            t = piece["table"]
            fits(t["record"] == "all" or (c["repeat"] is not None and t["records"] >= c["repeat"]), "own")
            fits(max(t["start_at"], t["end_at"]) + 4 <= t["record_size"] and abs(t["start_at"] - t["end_at"]) >= 4, "values of a record")


def room(slot):
    encoding = slot["encoding"] or "binary"
    if encoding == "decimal":
        return (10 ** slot["size"]).bit_length() - 1
    return slot["size"] * (8 if encoding == "binary" else 4)


def part(slot, bits):
    """(lowest bit, number of bits) of the result that a slot holds."""
    return slot["from"], min(bits - slot["from"], room(slot)) if slot["bits"] is None else slot["bits"]


def check_slots(slots, bits):
    held = []
    for slot in slots:
        fits(slot["from"] < bits, "from past the result")
        first, count = part(slot, bits)
        fits(1 <= count <= 64 and count <= room(slot) and first + count <= bits, "bits of a slot")
        held.append((first, first + count))
    fits(merged(held) == [(0, bits)], "a bit that no slot holds")


def check_sha_slots(slots):
    held = []
    for slot in slots:
        fits(slot["order"] is None and slot["encoding"] is None and slot["bits"] is None, "keys that SHA-256 does not have")
        fits(slot["transform"] in ("plain", "complement") and slot["from"] + slot["size"] <= 32, "slot")
        held.append((slot["from"], slot["from"] + slot["size"]))
    fits(len(merged(held)) == 1 and merged(held)[0][0] == 0, "leading bytes without a gap")


# ---- coverage, swap, substitutes, balance

def real_ranges(node):
    """The real bytes that the ranges of a node take, swapped, piece by piece (tables apart)."""
    for piece in node.fields["coverage"]:
        if "memory" in piece:
            yield piece, node.space.range(piece, node.i)


def swapped(space, offset, swap):
    memory = space.memory_at(offset)
    return ((offset - memory.base + memory.origin) ^ (swap // 8 - 1)) - memory.origin + memory.base


def swapped_range(space, first, last, swap):
    """The real bytes behind a range, as a set."""
    if not swap:
        return [(first, last)]
    # Whole groups, by absolute address, are their own partners.
    group, memory = swap // 8, space.memory_at(first)
    shift = memory.origin - memory.base
    inner_first, inner_last = -(-(first + shift) // group) * group - shift, (last + shift) // group * group - shift
    if inner_first >= inner_last:
        inner_first = inner_last = last
    single = list(range(first, inner_first)) + list(range(inner_last, last))
    return merged([(p, p + 1) for p in (swapped(space, o, swap) for o in single)] + [(inner_first, inner_last)])


def partners_exist(space, first, last, swap):
    segments = space.memory_at(first).segments
    return inside(swapped_range(space, first, last, swap), segments)


def check_places(region_map):
    for node in region_map.nodes:
        if node.kind == "checksum":
            check_node(node)


def check_node(node):
    swap, tables = node.fields["swap"], any("table" in piece for piece in node.fields["coverage"])
    read = []
    for _, (first, last) in real_ranges(node):
        fits(not swap or partners_exist(node.space, first, last, swap), "a swap partner that does not exist")
        read += swapped_range(node.space, first, last, swap)
    for first, last, _ in node.substitutes:
        fits(tables or touches([(first, last)], merged(read)), "a substitute that nothing reads")
    if node.balance:
        check_balance(node, read, tables)


def check_balance(node, read, tables):
    for at in range(*node.balance):
        times = sum(first <= at < last for first, last in read)
        fits(times == 1 or (tables and times == 0), "a balance not read exactly once")
    fits(not touches([node.balance], merged((a, b) for a, b, _ in node.substitutes)), "a balance that is substituted")
    solvable(isinstance(node.algorithm, (Crc, Sum)), "no inverse")
    check_sum_balance(node)
    if isinstance(node.algorithm, Crc):
        solvable(8 * (node.balance[1] - node.balance[0]) >= node.bits, "fewer bits than are kept")
    at = place_in_message(node)
    if at is not None:
        check_reach(node, *at)


def solvable(condition, why):
    require(condition, "map-unsolvable", why)


def check_sum_balance(node):
    summed, length = node.algorithm, node.balance[1] - node.balance[0]
    if not isinstance(summed, Sum):
        return
    solvable(8 * length == summed.unit, "not one word")
    if summed.operation == "add-end-around":
        solvable(summed.width == summed.unit == node.bits, "cut or wider")
        solvable(value_for(node, node.equals) != 0, "a sum of 0")
    else:
        solvable(node.bits <= summed.unit, "bits above the unit")


def value_for(node, result):
    """The low bits of the algorithm's value from which this result follows."""
    modulus, f = 1 << node.bits, node.fields
    value = result - (f["add"] or 0)
    if f["complement"] == "ones":
        value = -1 - value
    elif f["complement"] == "twos":
        value = -value
    return value % modulus


def place_in_message(node):
    """(position of the balance, bytes behind it) in the message, where no table leads to it or stands before it."""
    positions, at, behind = [], 0, None
    for piece in node.fields["coverage"]:
        if "table" in piece:
            if not positions:
                return None
            behind = -1
            break
        if "literal" in piece:
            at += len(piece["literal"])
            continue
        first, last = node.space.range(piece, node.i)
        for real in range(*node.balance):
            # A swap is its own inverse: the place in the message of a real byte is that of its partner's address.
            offset = swapped(node.space, real, node.fields["swap"]) if node.fields["swap"] else real
            if first <= offset < last:
                positions.append(at + offset - first)
        at += last - first
    if not positions:
        return None
    positions.sort()
    solvable(positions == list(range(positions[0], positions[0] + len(positions))), "its bytes are not read one after another")
    solvable(len(positions) == node.balance[1] - node.balance[0], "its bytes are not read one after another")
    return positions[0], behind if behind is not None else at - positions[-1] - 1


def check_reach(node, position, behind):
    length = node.balance[1] - node.balance[0]
    if isinstance(node.algorithm, Sum):
        solvable(position % length == 0, "not a whole word of the message")
    elif 8 * length < node.algorithm.width and behind >= 0:
        zero = node.algorithm.value(bytes(length + behind))
        columns = []
        for bit in range(8 * length):
            message = (1 << bit).to_bytes(length, "little") + bytes(behind)
            columns.append((node.algorithm.value(message) ^ zero) & (1 << node.bits) - 1)
        solvable(gf2.rank(columns) == node.bits, "cannot reach every value")


def check_amount(region_map, form_maps):
    total = 0
    for each in [region_map] + form_maps:
        for node in each.nodes:
            if node.kind == "checksum":
                total += sum(len(p["literal"]) if "literal" in p else p.get("size", 0) for p in node.fields["coverage"])
    fits(total <= MOST_READ, "more than 4 GiB")
