"""The memories of a region map with each byte known or unknown."""

from ranges import inside, merged, overlap


class Image:
    def __init__(self, space, data=None, known=()):
        self.space = space
        self.data = bytearray(space.size) if data is None else data
        self.known = list(known)

    def lay(self, first, content):
        self.data[first:first + len(content)] = content
        self.known = merged(self.known + [(first, first + len(content))])

    def bytes(self, first, last):
        return bytes(self.data[first:last])

    def knows(self, places):
        return inside(merged(places), self.known)

    def cut(self, known):
        """The same with only those bytes known."""
        known = overlap(self.known, known)
        out = Image(self.space, bytearray(self.space.size), known)
        for first, last in known:
            out.data[first:last] = self.data[first:last]
        return out

    def copy(self):
        return Image(self.space, bytearray(self.data), self.known)

    def over(self, other):
        """The other image with this one's known bytes laid over it."""
        out = other.copy()
        for first, last in self.known:
            out.data[first:last] = self.data[first:last]
        out.known = merged(out.known + self.known)
        return out


def differences(a, b):
    """Runs of bytes that both know and that differ."""
    out = []
    for first, last in overlap(a.known, b.known):
        if a.data[first:last] == b.data[first:last]:
            continue
        out += [(at, at + 1) for at in range(first, last) if a.data[at] != b.data[at]]
    return merged(out)


