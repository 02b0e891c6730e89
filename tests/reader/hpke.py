"""HPKE (RFC 9180), base mode, DHKEM(X25519, HKDF-SHA256), HKDF-SHA256, AES-256-GCM: what closed parcels need of it."""

import hashlib
import hmac

import x25519
from aes_gcm import Gcm

KEM = b"KEM\x00\x20"
SUITE = b"HPKE\x00\x20\x00\x01\x00\x02"


def extract(salt, key):
    """RFC 5869, section 2.2."""
    return hmac.new(salt or bytes(32), key, hashlib.sha256).digest()


def expand(key, info, size):
    out, block, turn = b"", b"", 1
    while len(out) < size:
        block = hmac.new(key, block + info + bytes([turn]), hashlib.sha256).digest()
        out, turn = out + block, turn + 1
    return out[:size]


def labeled_extract(suite, salt, label, key):
    return extract(salt, b"HPKE-v1" + suite + label + key)


def labeled_expand(suite, key, label, info, size):
    return expand(key, size.to_bytes(2, "big") + b"HPKE-v1" + suite + label + info, size)


def shared_secret(product, enc, recipient):
    """Section 4.1; nothing where the exchange gave zero (section 7.1.4)."""
    if product == bytes(32):
        return None
    key = labeled_extract(KEM, b"", b"eae_prk", product)
    return labeled_expand(KEM, key, b"shared_secret", enc + recipient, 32)


class Context:
    """Section 5: the key schedule of base mode, and messages in order."""

    def __init__(self, shared, info):
        context = b"\x00" + labeled_extract(SUITE, b"", b"psk_id_hash", b"") + labeled_extract(SUITE, b"", b"info_hash", info)
        secret = labeled_extract(SUITE, shared, b"secret", b"")
        self.key = labeled_expand(SUITE, secret, b"key", context, 32)
        self.base_nonce = labeled_expand(SUITE, secret, b"base_nonce", context, 12)
        self.exporter = labeled_expand(SUITE, secret, b"exp", context, 32)
        self.gcm, self.turn = Gcm(self.key), 0

    def nonce(self):
        return (int.from_bytes(self.base_nonce, "big") ^ self.turn).to_bytes(12, "big")

    def seal(self, aad, text):
        sealed = self.gcm.seal(self.nonce(), aad, text)
        self.turn += 1
        return sealed

    def open(self, aad, sealed):
        text = self.gcm.open(self.nonce(), aad, sealed)
        self.turn += 1
        return text


def sender(recipient, ephemeral, info):
    """(enc, context) with an ephemeral secret that was chosen beforehand."""
    enc = x25519.public_key(ephemeral)
    return enc, Context(shared_secret(x25519.multiple(ephemeral, recipient), enc, recipient), info)


def receiver(enc, secret, info):
    """The context, or nothing where `enc` is of small order."""
    shared = shared_secret(x25519.multiple(secret, enc), enc, x25519.public_key(secret))
    return shared and Context(shared, info)
