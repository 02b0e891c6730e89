"""The customer file (docs/parcel.md): what a customer's side keeps."""

import ed25519
from json_text import canonical
from refused import Refused, require, sha256
from shapes import DIGEST, NAME, ascending, is_choice, is_integer, is_list, is_object, is_text, signed_json

CUSTOMER_FILE = 16 * 1048576
CUSTOMER = {"calseal": is_choice("customer/1"), "seed": DIGEST, "number": is_integer(0, 2**40),
            "salts": is_list(256, is_object({"job": NAME, "salt": DIGEST})), "state": is_text(8 * 1048576),
            "receipts": is_list(1000, is_text(4096))}


def read_customer(data):
    """The fields, with the key id of the seed. The state and the receipts in it are judged where they are used."""
    require(len(data) <= CUSTOMER_FILE, "file-too-large")
    try:
        lines = data.split(b"\n")
        require(len(lines) == 3 and lines[2] == b"" and lines[1] == sha256(lines[0]).encode("ascii"), "customer-file-invalid", "lines")
        fields = signed_json(lines[0], CUSTOMER)
        require(ascending([salt["job"] for salt in fields["salts"]]), "customer-file-invalid", "order of salts")
    except Refused as refused:
        raise Refused("customer-file-invalid", refused) from None
    return {**fields, "key": ed25519.key_id(ed25519.public_key(bytes.fromhex(fields["seed"])))}


def customer_file(fields):
    line = canonical(fields).encode("utf-8")
    return line + b"\n" + sha256(line).encode("ascii") + b"\n"
