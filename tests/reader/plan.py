"""The plan: what every node reads, which groups they form and in which order, and which of them float (docs/proof.md, words and claims 1)."""

import bisect

from algorithms import Sum
from joint import Circle
from message import PIECES, Message, copied, length_of, pieces_of, slot_bytes
from ranges import merged, touches, without
from refused import require

PLACES_READ = 1 << 20  # slots, balances and copies, by all checksums and copies together


class Plan:
    def __init__(self, region_map, image):
        self.map, self.nodes = region_map, region_map.nodes
        derived = region_map.owned
        self.learned = without(region_map.policy("volatile"), derived)
        self.binding = merged((a, b) for a, b, _ in region_map.binding())
        self.vehicle = merged(self.learned + self.binding)
        self.resolve(image)
        self.group()
        self.judge_circles(image)
        self.judge_floating()

    def resolve(self, image):
        sizes = sum(memory.size for memory in self.map.space.memories)
        room, total = PIECES, 0
        for node in self.nodes:
            node.message = None
            if node.kind == "checksum":
                pieces = pieces_of(node, image, room)
                room, total = pieces.room, total + length_of(pieces)
                require(total <= 64 * sizes, "descriptor-invalid", "more than 64 times the memories")
                node.message = Message(node, pieces)
            node.reads = node.message.reads if node.message else [node.original]
            if node.kind == "checksum" and node.unconfirmed and not node.fields["rule"]:
                node.reads = merged(node.reads + node.stored)

    def group(self):
        """Groups in dependency order: what a group depends on comes before it."""
        owners = sorted((first, last, at) for at, node in enumerate(self.nodes) for first, last in node.owned)
        starts = [first for first, _, _ in owners]
        depends, read = [], 0
        for node in self.nodes:
            found, places = set(), set()
            for first, last in node.reads:
                at = max(bisect.bisect_right(starts, first) - 1, 0)
                while at < len(owners) and owners[at][0] < last:
                    if owners[at][1] > first:
                        found.add(owners[at][2])
                        places.add(at)
                    at += 1
            read += len(places)
            require(read <= PLACES_READ, "descriptor-invalid", f"more than {PLACES_READ} places read")
            depends.append(sorted(found))
        self.depends = depends
        self.groups = components(depends)
        self.through, self.floats = {}, set()
        for group in self.groups:
            reads = merged(r for at in group for r in self.nodes[at].reads)
            before = [other for at in group for other in depends[at] if other not in group]
            reads = merged(reads + [r for other in before for r in self.through[other]])
            floats = touches(reads, self.vehicle)
            for at in group:
                self.through[at] = reads
                if floats:
                    self.floats.add(at)

    def circle(self, group):
        return len(group) > 1 or group[0] in self.depends[group[0]]

    def judge_circles(self, image):
        self.circles = {}
        for group in self.groups:
            if self.circle(group):
                self.circles[tuple(group)] = Circle([self.nodes[at] for at in group], image)

    def judge_floating(self):
        for group in self.groups:
            if group[0] not in self.floats:
                continue
            circle = self.circles.get(tuple(group))
            if circle:
                require(circle.unique, "map-floating", [self.nodes[at].name for at in group])
            else:
                require(has_one_value(self.nodes[group[0]]), "map-floating", self.nodes[group[0]].name)

    def owned_by(self, wanted):
        return merged(place for at, node in enumerate(self.nodes) if wanted(at) for place in node.owned)


def has_one_value(node):
    if not node.balance:
        return True
    length = 8 * (node.balance[1] - node.balance[0])
    if isinstance(node.algorithm, Sum) and node.algorithm.operation == "add-end-around":
        return False  # all zeros and all ones can be the same number
    return length == node.bits


def components(depends):
    """Strongly connected components (Tarjan), each after all that it depends on; members ascending."""
    index, low, stack, on, out = {}, {}, [], set(), []
    for root in range(len(depends)):
        if root in index:
            continue
        work = [(root, 0)]
        while work:
            at, k = work.pop()
            if k == 0:
                index[at] = low[at] = len(index)
                stack.append(at)
                on.add(at)
            if k < len(depends[at]):
                work.append((at, k + 1))
                other = depends[at][k]
                if other not in index:
                    work.append((other, 0))
                elif other in on:
                    low[at] = min(low[at], index[other])
                continue
            if low[at] == index[at]:
                cut = stack.index(at)
                out.append(sorted(stack[cut:]))
                on -= set(stack[cut:])
                del stack[cut:]
            if work:
                low[work[-1][0]] = min(low[work[-1][0]], low[at])
    return out


# ---- judging one node

def is_provable(node, image):
    return image.knows(node.reads + node.owned)


def holds(node, image):
    if node.kind == "copy":
        return image.bytes(*node.owned[0]) == copied(node, image)
    result = node.message.result(image)
    if node.fields["rule"]:
        return result == node.equals
    return all(image.bytes(*place) == slot_bytes(node, slot, result) for slot, place in node.slots)


def state(node, image):
    if not is_provable(node, image):
        return "not-provable"
    return "holds" if holds(node, image) else "fails"

