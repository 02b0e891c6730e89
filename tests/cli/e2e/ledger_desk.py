"""A job's desk with a ledger, and the ledger's files as its page describes them, written and read by plain code of their own."""

import hashlib
import hmac
import json
import os
import pathlib
import random

import desk as desks
import rfc9162
from desk import CALSEAL
from job_desk import JobDesk


class LedgerDesk(JobDesk):
    """Shop with a ledger key, an empty ledger, and no job yet."""

    def __init__(self):
        super().__init__()
        self.ledger = str(self.root / "shop-ledger")
        self.ledger_id = self.json(CALSEAL, "ledger", "new", self.ledger)["id"]
        self.json(CALSEAL, "key", "new", self.at("ledger.key"), "--passphrase-file", self.at("word.txt"))
        self.quicken("ledger.key")
        self.json(CALSEAL, "shop", "add-key", self.at("shop.trust"), self.at("ledger.key.pub"), "--name", "Ledger", "--role", "ledger",
                  "--valid-from", "2026-01-01T00:00:00Z", "--root-key", self.at("root.key"), "--passphrase-file", self.at("word.txt"),
                  "-o", self.at("shop-2.trust"))
        os.replace(self.at("shop-2.trust"), self.at("shop.trust"))

    def ledgers(self, verb, *more, status=0, ledger=None):
        return self.json(CALSEAL, "ledger", verb, ledger or self.ledger, *more, status=status)

    def trusting(self):
        return ["--trust", self.at("shop.trust")]

    def ledger_key(self):
        return ["--ledger-key", self.at("ledger.key")]

    def head(self, *more, time=desks.TIME, status=0):
        return self.ledgers("head", "--key", self.at("ledger.key"), "--passphrase-file", self.at("word.txt"), *self.trusting(),
                            "--claimed-time", time, *more, status=status)

    def verify(self, *more, status=0):
        return self.ledgers("verify", *self.trusting(), *more, status=status)

    def codes(self, *more):
        done = self.run(CALSEAL, "ledger", "verify", self.ledger, *self.trusting(), *more, "--json")
        return {finding["code"] for finding in json.loads(done.stdout)["findings"]}

    def entry_lines(self):
        return (pathlib.Path(self.ledger) / "entries.jsonl").read_bytes().split(b"\n")[1:-1]

    def leaves(self):
        return [rfc9162.leaf_hash(line) for line in self.entry_lines()]

    def details(self):
        return [json.loads(line) for line in (pathlib.Path(self.ledger) / "details.jsonl").read_bytes().split(b"\n")[:-1]]


def canonical(value):
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False)


def written_ledger(folder, count, seed):
    """A ledger of `count` entries as the page says, without calseal; its leaves and what the entries are about."""
    draw = random.Random(seed)
    folder = pathlib.Path(folder)
    (folder / "heads").mkdir(parents=True)
    ledger = draw.randbytes(32).hex()
    first = canonical({"calseal": "ledger/1", "id": ledger}) + "\n"
    lines, details, about = [], [], []
    for index in range(count):
        about.append(draw.randbytes(32))
        nonce = draw.randbytes(32)
        facts = {"about": about[-1].hex(), "kind": "sealed", "claimed_time": "2026-03-04T05:06:07Z", "job": f"job-{index % 17}", "controller": "engine",
                 "base": 1, "revision": index, "sequence": index + 1, "words": "", "file": "", "erases": []}
        salt = hmac.new(nonce, canonical(facts).encode(), hashlib.sha256).digest()
        subject = hmac.new(salt, about[-1], hashlib.sha256).hexdigest()
        lines.append(canonical({"calseal": "entry/1", "kind": "sealed", "claimed_time": "2026-03-04T05:06:07Z", "subject": subject}))
        details.append(canonical({"calseal": "ledger-detail/1", "entry": index, "nonce": nonce.hex(), "facts": facts}))
    leaves = [rfc9162.leaf_hash(line.encode()) for line in lines]
    entries = first + "".join(line + "\n" for line in lines)
    (folder / "entries.jsonl").write_text(entries)
    (folder / "details.jsonl").write_text("".join(line + "\n" for line in details))
    tip = {"calseal": "ledger-tip/1", "id": ledger, "size": count, "bytes": len(entries.encode()), "peaks": [p.hex() for p in rfc9162.peaks(leaves)]}
    (folder / "tip.json").write_text(canonical(tip) + "\n")
    return leaves, [digest.hex() for digest in about]
