"""Merkle trees, written from RFC 9162 section 2.1 alone, as short as its own words: what calseal builds and proves is judged by
this, and the other way round."""

import hashlib


def leaf_hash(data):
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def largest_power_below(n):
    k = 1
    while k * 2 < n:
        k *= 2
    return k


def tree_head(leaves):
    """MTH, section 2.1.1; `leaves` are leaf hashes."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    k = largest_power_below(len(leaves))
    return node_hash(tree_head(leaves[:k]), tree_head(leaves[k:]))


def path(m, leaves):
    """PATH, section 2.1.3.1."""
    if len(leaves) == 1:
        return []
    k = largest_power_below(len(leaves))
    if m < k:
        return path(m, leaves[:k]) + [tree_head(leaves[k:])]
    return path(m - k, leaves[k:]) + [tree_head(leaves[:k])]


def proof(m, leaves):
    """PROOF, section 2.1.4.1."""
    return subproof(m, leaves, True)


def subproof(m, leaves, whole):
    n = len(leaves)
    if m == n:
        return [] if whole else [tree_head(leaves)]
    k = largest_power_below(n)
    if m <= k:
        return subproof(m, leaves[:k], whole) + [tree_head(leaves[k:])]
    return subproof(m - k, leaves[k:], False) + [tree_head(leaves[:k])]


def includes(leaf, index, size, inclusion_path, root_hash):
    """Section 2.1.3.2."""
    if index >= size:
        return False
    fn, sn, r = index, size - 1, leaf
    for p in inclusion_path:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            r = node_hash(p, r)
            while fn and not fn & 1:
                fn >>= 1
                sn >>= 1
        else:
            r = node_hash(r, p)
        fn >>= 1
        sn >>= 1
    return sn == 0 and r == root_hash


def continues(first, second, first_hash, second_hash, consistency_path):
    """Section 2.1.4.2."""
    if first == second:
        return not consistency_path and first_hash == second_hash
    steps = list(consistency_path)
    if not steps:
        return False
    if first & (first - 1) == 0:
        steps.insert(0, first_hash)
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn >>= 1
        sn >>= 1
    fr = sr = steps[0]
    for c in steps[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            fr, sr = node_hash(c, fr), node_hash(c, sr)
            while fn and not fn & 1:
                fn >>= 1
                sn >>= 1
        else:
            sr = node_hash(sr, c)
        fn >>= 1
        sn >>= 1
    return fr == first_hash and sr == second_hash and sn == 0


def peaks(leaves):
    """Roots of the whole subtrees, largest first."""
    out = []
    for bit in reversed(range(len(leaves).bit_length())):
        if len(leaves) >> bit & 1:
            done = sum(1 << b for b in range(bit + 1, len(leaves).bit_length()) if len(leaves) >> b & 1)
            out.append(tree_head(leaves[done:done + (1 << bit)]))
    return out
