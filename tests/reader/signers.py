"""Step 8 of the order of checks: what the trust file says of the keys that signed."""

from approvals import lead, steps_of
from lists import is_included
from refused import require, sha256
from statement import is_valid_at


def enough(required_roles, threshold, keys):
    """Step 8d over keys given by their roles: a key of its own for each required role, and `threshold` authors or reviewers."""
    def can_fill(roles, left):
        return not roles or any(roles[0] in key and can_fill(roles[1:], left[:i] + left[i + 1:]) for i, key in enumerate(left))
    return can_fill(list(required_roles), keys) and sum(1 for key in keys if "author" in key or "reviewer" in key) >= threshold


def leads_from_any(digests, m, trust):
    steps, own = steps_of(m, trust), m["controllers"][0]["region_map"]["digest"]
    return any(lead(steps, digest, own) for digest in digests)


def judge_keys(m, manifest_bytes, signers, trust, proof):
    """The ids of the keys that count; none where the ledger proves the revision."""
    c = m["controllers"][0]

    def suffice(keys):
        return enough(m["required_roles"], trust["policy"]["threshold"], [key["roles"] for key in keys])

    counting, by_ledger = signers, False
    active = [key for key in signers if key["state"] == "active"]
    if len(active) < len(signers):
        by_ledger = proof is not None and is_included(proof, sha256(manifest_bytes), trust)
        if not by_ledger:
            require(suffice(active), "key-compromised" if proof is None else "inclusion-invalid")
            counting = active
    for key in counting:
        require(not key["jobs"] or m["job"] in key["jobs"], "key-scope", "jobs")
        require(not key["controllers"] or c["name"] in key["controllers"], "key-scope", "controllers")
        require(not key["region_maps"] or leads_from_any(key["region_maps"], m, trust), "key-scope", "region_maps")
    for key in counting:
        require(is_valid_at(key, m["claimed_time"]), "key-validity")
    require(suffice(counting), "roles-missing")
    return [] if by_ledger else [key["id"] for key in counting]
