"""Shapes: functions that check one value of signed JSON, its type first, then its limits, and give it back in the order of the page."""

import re

from json_text import Strict, canonical
from refused import require

CONTENT = 268435456  # the most bytes of one content, and of one memory
LIST = 16384  # the most items of a list without a limit of its own


def is_text(limit, pattern=None, controls=True):
    def check(value):
        require(isinstance(value, str), "json-type", value)
        require(len(value.encode("utf-8")) <= limit, "json-value", "too long")
        require(pattern is None or re.fullmatch(pattern, value, re.ASCII), "json-value", value)
        require(controls or not re.search("[\x00-\x1f\x7f]", value), "json-value", value)
        return value
    return check


NAME = is_text(64, r"[a-z0-9][a-z0-9_-]{0,63}")
LINE = is_text(200, controls=False)
TEXT = is_text(65536)
VALUE = is_text(1024)
DIGEST = is_text(64, r"[0-9a-f]{64}")
CRC32 = is_text(10, r"0x[0-9a-f]{8}")
ADDRESS = is_text(10, r"0x[0-9a-f]{8}")


def is_time(value):
    is_text(20, r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")(value)
    year, month, day, hour, minute, second = (int(x) for x in re.findall("[0-9]+", value))
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    days = [31, 29 if leap else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    good = 1970 <= year and 1 <= month <= 12 and 1 <= day <= days[month - 1] and hour < 24 and minute < 60 and second < 60
    require(good, "json-value", value)
    return value


def is_boolean(value):
    require(isinstance(value, bool), "json-type", value)
    return value


def is_integer(least, most):
    def check(value):
        require(isinstance(value, int) and not isinstance(value, bool), "json-type", value)
        require(least <= value <= most, "json-value", value)
        return value
    return check


def is_choice(*choices):
    def check(value):
        require(isinstance(value, str), "json-type", value)
        require(value in choices, "json-value", value)
        return value
    return check


def or_empty(shape):
    def check(value):
        return value if value == "" and isinstance(value, str) else shape(value)
    return check


def is_list(limit, shape, least=0):
    def check(value):
        require(isinstance(value, list), "json-type", value)
        require(least <= len(value) <= limit, "json-value", "number of items")
        return [shape(item) for item in value]
    return check


def is_object(shapes):
    """An object with exactly these keys. The end of a range is judged right behind its size."""
    def check(value):
        require(isinstance(value, dict), "json-type", value)
        ordered = {}
        for key, shape in shapes.items():
            require(key in value, "json-missing-key", key)
            ordered[key] = shape(value[key])
            first = ordered.get("start", ordered.get("origin"))
            if key == "size" and first is not None:
                require(int(first, 16) + value["size"] <= 2**32, "json-value", "end of a range")
        for key in value:
            require(key in shapes, "json-unknown-key", key)
        return ordered
    return check


def is_annotation(value):
    require(isinstance(value, list), "json-type", value)
    require(len(value) == 2, "json-value", "a pair")
    return [NAME(value[0]), TEXT(value[1])]


def is_format(value):
    require(isinstance(value, int) and not isinstance(value, bool), "json-type", value)
    require(value == 1, "format-unknown", value)
    return value


def signed_json(data, shape):
    """Reads canonical JSON: strict text, then the fields in the order of the page, then every byte as it would be written."""
    checked = is_object(shape)(Strict(data).whole())
    require(canonical(checked).encode("utf-8") == data, "json-not-canonical")
    return checked


def ascending(values):
    return all(a < b for a, b in zip(values, values[1:]))


def begin(item):
    return int(item["start"], 16)


def end(item):
    return begin(item) + item["size"]
