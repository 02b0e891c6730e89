"""Strict JSON in one pass, where the first fault in the text counts; and the one canonical text of a value."""

import re

from refused import Refused, require


class Strict:
    SPACE = b" \t\r\n"
    NUMBER = re.compile(rb"-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
    PLAIN = re.compile(rb'[^"\\\x00-\x1f]*')  # of a string: what stands for itself
    ESCAPES = {0x22: '"', 0x5C: "\\", 0x2F: "/", 0x62: "\b", 0x66: "\f", 0x6E: "\n", 0x72: "\r", 0x74: "\t"}

    def __init__(self, data):
        self.data, self.at = data, 0

    def whole(self):
        try:
            self.data.decode("utf-8")
        except UnicodeDecodeError:
            raise Refused("json-syntax", "not UTF-8") from None
        value = self.value(0)
        self.space()
        require(self.at == len(self.data), "json-syntax", "something behind the end")
        return value

    def peek(self):
        return self.data[self.at:self.at + 1]

    def space(self):
        while self.peek() and self.peek() in self.SPACE:
            self.at += 1

    def take(self, token):
        require(self.data.startswith(token, self.at), "json-syntax", f"{token!r} expected at {self.at}")
        self.at += len(token)

    def value(self, depth):
        self.space()
        first = self.peek()
        if first in (b"{", b"["):
            require(depth < 32, "json-depth")
            return self.object(depth + 1) if first == b"{" else self.array(depth + 1)
        if first == b'"':
            return self.string()
        for token, meaning in ((b"true", True), (b"false", False)):
            if self.data.startswith(token, self.at):
                self.at += len(token)
                return meaning
        if self.data.startswith(b"null", self.at):
            raise Refused("json-type", "null")
        return self.number()

    def number(self):
        match = self.NUMBER.match(self.data, self.at)
        require(match, "json-syntax", f"no value at {self.at}")
        self.at = match.end()
        text = match.group()
        # With at most 16 digits before it is taken for a number: a long one costs nothing.
        require(text.isdigit() and len(text) <= 16 and int(text) < 2**53, "json-number", text)
        return int(text)

    def string(self):
        self.take(b'"')
        out = []
        while True:
            plain = self.PLAIN.match(self.data, self.at)
            out.append(plain.group().decode("utf-8"))
            self.at = plain.end()
            require(self.at < len(self.data), "json-syntax", "string without end")
            byte = self.data[self.at]
            self.at += 1
            if byte == 0x22:
                return "".join(out)
            require(byte == 0x5C, "json-syntax", "control character")
            out.append(self.escape())

    def escape(self):
        kind = self.data[self.at] if self.at < len(self.data) else 0
        self.at += 1
        if kind != 0x75:
            require(kind in self.ESCAPES, "json-syntax", "unknown escape")
            return self.ESCAPES[kind]
        unit = self.unit()
        if 0xD800 <= unit < 0xDC00:
            self.take(b"\\u")
            low = self.unit()
            require(0xDC00 <= low < 0xE000, "json-syntax", "half of a pair")
            return chr(0x10000 + ((unit - 0xD800) << 10) + (low - 0xDC00))
        require(not 0xDC00 <= unit < 0xE000, "json-syntax", "half of a pair")
        return chr(unit)

    def unit(self):
        digits = self.data[self.at:self.at + 4]
        require(re.fullmatch(rb"[0-9a-fA-F]{4}", digits), "json-syntax", "four digits")
        self.at += 4
        return int(digits, 16)

    def array(self, depth):
        self.take(b"[")
        items = []
        self.space()
        if self.peek() == b"]":
            self.at += 1
            return items
        while True:
            items.append(self.value(depth))
            self.space()
            if self.peek() == b"]":
                self.at += 1
                return items
            self.take(b",")

    def object(self, depth):
        self.take(b"{")
        members = {}
        self.space()
        if self.peek() == b"}":
            self.at += 1
            return members
        while True:
            self.space()
            key = self.string()
            require(key not in members, "json-repeated-key", key)
            self.space()
            self.take(b":")
            members[key] = self.value(depth)
            self.space()
            if self.peek() == b"}":
                self.at += 1
                return members
            self.take(b",")


def canonical(value):
    if isinstance(value, dict):
        return "{" + ",".join(canonical_text(k) + ":" + canonical(v) for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ",".join(canonical(v) for v in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value) if isinstance(value, int) else canonical_text(value)


def canonical_text(text):
    short = {'"': '\\"', "\\": "\\\\", "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r"}
    return '"' + "".join(short.get(c, "\\u%04x" % ord(c) if c < " " else c) for c in text) + '"'
