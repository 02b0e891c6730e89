"""Sets of bytes as lists of (first, end) with first < end, ascending, touching ones made one."""


def merged(items):
    out = []
    for first, last in sorted(items):
        if first >= last:
            continue
        if out and first <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], last))
        else:
            out.append((first, last))
    return out


def overlap(a, b):
    """What both hold."""
    out, i, j = [], 0, 0
    while i < len(a) and j < len(b):
        first, last = max(a[i][0], b[j][0]), min(a[i][1], b[j][1])
        if first < last:
            out.append((first, last))
        if a[i][1] <= b[j][1]:
            i += 1
        else:
            j += 1
    return out


def without(a, b):
    """What a holds and b does not."""
    out, j = [], 0
    for first, last in a:
        while j < len(b) and b[j][1] <= first:
            j += 1
        at, k = first, j
        while k < len(b) and b[k][0] < last:
            if at < b[k][0]:
                out.append((at, b[k][0]))
            at = max(at, b[k][1])
            k += 1
        if at < last:
            out.append((at, last))
    return out


def inside(a, b):
    """Whether b holds all of a."""
    return not without(a, b)


def touches(a, b):
    return bool(overlap(a, b))


def cut(items, edges):
    """The ranges, cut at every edge."""
    out, edges, at = [], sorted(set(edges)), 0
    for first, last in items:
        while at < len(edges) and edges[at] <= first:
            at += 1
        k, begin = at, first
        while k < len(edges) and edges[k] < last:
            out.append((begin, edges[k]))
            begin = edges[k]
            k += 1
        out.append((begin, last))
    return out


def runs(positions):
    """Positions as ranges."""
    return merged((at, at + 1) for at in positions)


def size(items):
    return sum(last - first for first, last in items)
