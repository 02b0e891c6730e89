"""Calibration items of a region map: their shape, and what they need of each other. Nothing of a proof depends on them."""

import re
from fractions import Fraction

from refused import require

TYPES = {"u8": 1, "s8": 1, "u16": 2, "s16": 2, "u32": 4, "s32": 4, "f32": 4, "f64": 8}


def is_decimal(value):
    require(isinstance(value, str), "json-type", value)
    good = re.fullmatch(r"-?(0|[1-9][0-9]*)(\.[0-9]{1,18})?", value) and value != "-0"
    require(good and len(re.sub(r"[-.]", "", value).lstrip("0")) <= 18, "json-value", value)
    return Fraction(value)


def shape_of(value, m):
    """The fields that this kind of item has."""
    elements = m.is_number(1, 65536)
    fields = {"name": m.need(m.NAME), "kind": m.need(m.is_choice("scalar", "axis", "curve", "table")), "memory": m.need(m.NAME),
              "start": m.need(m.is_address), "type": m.need(m.is_choice(*TYPES)), "order": (m.ORDER, "little")}
    kind = value.get("kind")
    if kind == "axis" or (kind == "curve" and "x" not in value):
        fields["points"] = m.need(elements)
    if kind == "curve" and "x" in value:
        fields["x"] = m.need(m.NAME)
    if kind == "table":
        fields["x" if "x" in value else "columns"] = m.need(m.NAME if "x" in value else elements)
        fields["y" if "y" in value else "rows"] = m.need(m.NAME if "y" in value else elements)
    if "rational" in value:
        fields["rational"] = m.need(m.is_list(is_decimal, 6, 6))
    else:
        fields.update({"factor": (is_decimal, Fraction(1)), "offset": (is_decimal, Fraction(0))})
    fields.update({"unit": (m.is_text(64, r"[^\x00-\x1f\x7f]+"), ""), "title": (m.LINE, ""), "note": (m.TEXT, ""), "least": (is_decimal, None),
                   "most": (is_decimal, None), "count": (m.is_number(1, m.MOST), None), "stride": (m.STRIDE, None)})
    return fields


def tells_apart(item):
    if "rational" in item:
        a, b, c, d, e, f = item["rational"]
        require(a == 0 and d == 0, "json-value", "quadratic")
        # The conversion is one of a constant when the two linear forms are multiples of each other.
        require(b * f != c * e, "json-value", "a conversion that tells nothing apart")
    else:
        require(item["factor"] != 0, "json-value", "factor 0")
    require(item["least"] is None or item["most"] is None or item["least"] <= item["most"], "json-value", "least above most")
    require((item["count"] is None) == (item["stride"] is None), "json-missing-key", "count and stride")


def is_item(value):
    import map_fields as m
    require(isinstance(value, dict), "json-type", value)
    return m.is_object(shape_of(value, m), tells_apart)(value)


def axes_of(item, items):
    """The axes that an item names, each with whether they fit (map-name)."""
    for key in ("x", "y"):
        if key in item:
            axis = next((other for other in items if other["name"] == item[key]), None)
            fits = axis is not None and axis["kind"] == "axis"
            fits = fits and ((axis["count"] or 1) >= (item["count"] or 1) or axis["count"] is None)
            yield axis, fits


def size_of(item, items):
    elements = 1
    for name, key in (("columns", "x"), ("rows", "y"), ("points", None)):
        if name in item:
            elements *= item[name]
        elif key in item:
            elements *= next(other for other in items if other["name"] == item[key])["points"]
    return elements * TYPES[item["type"]]
