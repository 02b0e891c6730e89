"""Step 8 of the order of checks: what the trust file says of the keys that signed."""

from refused import require


def judge_keys(m, signers, trust):
    c = m["controllers"][0]

    def can_fill(roles, keys):
        return not roles or any(roles[0] in key["roles"] and can_fill(roles[1:], keys[:i] + keys[i + 1:]) for i, key in enumerate(keys))

    def enough(keys):
        counted = [key for key in keys if "author" in key["roles"] or "reviewer" in key["roles"]]
        return can_fill(m["required_roles"], keys) and len(counted) >= trust["policy"]["threshold"]

    active = [key for key in signers if key["state"] == "active"]
    if len(active) < len(signers):
        # No row gives a proof of inclusion, so the others must do alone.
        require(enough(active), "key-compromised")
    for key in active:
        for field, value in (("jobs", m["job"]), ("controllers", c["name"]), ("region_maps", c["region_map"]["digest"])):
            require(not key[field] or value in key[field], "key-scope", field)
    for key in active:
        inside = key["valid_from"] <= m["claimed_time"] and (not key["valid_until"] or m["claimed_time"] < key["valid_until"])
        require(inside, "key-validity")
    require(enough(active), "roles-missing")
