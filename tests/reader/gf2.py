"""Linear equations over GF(2). A vector is an integer; bit i is its i-th component."""


def rank(vectors):
    basis = []
    for vector in vectors:
        for b in basis:
            vector = min(vector, vector ^ b)
        if vector:
            basis.append(vector)
    return len(basis)


def solve(columns, target):
    """(one choice of columns whose sum is the target or None, number of independent columns): the choice as an integer."""
    basis = []  # (vector reduced, combination)
    for i, vector in enumerate(columns):
        combination = 1 << i
        for b, c in basis:
            if vector ^ b < vector:
                vector, combination = vector ^ b, combination ^ c
        if vector:
            basis.append((vector, combination))
    choice = 0
    for b, c in basis:
        if target ^ b < target:
            target, choice = target ^ b, choice ^ c
    return (None if target else choice), len(basis)
