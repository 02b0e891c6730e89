"""Correction: a group's places set so that its nodes hold (docs/region-map.md, slots and rules)."""

import gf2
from algorithms import Crc, Sum
from map_checksums import value_for
from message import copied, slot_bytes
from plan import holds
from refused import require


def correct(plan, group, image):
    circle = plan.circles.get(tuple(group))
    if circle:
        circle.correct(image)
        return
    node = plan.nodes[group[0]]
    if node.kind == "copy":
        image.data[slice(*node.owned[0])] = copied(node, image)
    elif node.unconfirmed:
        require(False, "checksum-fails", node.name)
    elif not node.fields["rule"]:
        result = node.message.result(image)
        for slot, place in node.slots:
            image.data[slice(*place)] = slot_bytes(node, slot, result)
    else:
        require(node.balance, "checksum-fails", node.name)
        (crc_balance if isinstance(node.algorithm, Crc) else sum_balance)(node, image)
        require(holds(node, image), "map-unsolvable", node.name)


def value_without(node, image):
    """The algorithm's value with the balance all zeros."""
    image.data[slice(*node.balance)] = bytes(node.balance[1] - node.balance[0])
    return node.algorithm.value(node.message.bytes(image))


def crc_balance(node, image):
    mask, zero = (1 << node.bits) - 1, value_without(node, image)
    bits = [(at, 1 << bit) for at in range(*node.balance) for bit in range(8)]
    columns = []
    for at, bit in bits:
        image.data[at] = bit
        columns.append((node.algorithm.value(node.message.bytes(image)) ^ zero) & mask)
        image.data[at] = 0
    choice, _ = gf2.solve(columns, (value_for(node, node.equals) ^ zero) & mask)
    require(choice is not None, "map-unsolvable", node.name)
    for i, (at, bit) in enumerate(bits):
        if choice >> i & 1:
            image.data[at] |= bit


def sum_balance(node, image):
    summed, length = node.algorithm, node.balance[1] - node.balance[0]
    require(isinstance(summed, Sum), "map-unsolvable", node.name)
    zero, target, limit = value_without(node, image), value_for(node, node.equals), 1 << node.bits
    if summed.operation == "xor":
        word = (zero ^ target) % limit
    elif summed.operation == "add":
        word = (target - zero) % limit
    else:
        word = (target - zero) % (limit - 1)
        # The sum of zeros is 0: only a word of all ones makes all ones of it.
        word = limit - 1 if word == 0 and zero == 0 else word
    at = sorted((position, real) for real in range(*node.balance) for position in node.message.positions(real))
    require(len(at) == length and at[0][0] % length == 0 and at[-1][0] == at[0][0] + length - 1, "map-unsolvable", node.name)
    for (_, real), byte in zip(at, word.to_bytes(length, summed.order)):
        image.data[real] = byte
