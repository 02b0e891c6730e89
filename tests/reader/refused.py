"""The one way in which a check fails: the reason code, and words for a person."""

import hashlib


class Refused(Exception):
    def __init__(self, reason, why=""):
        super().__init__(reason, why)
        self.reason = reason
        self.why = str(why)


def require(condition, reason, why=""):
    if not condition:
        raise Refused(reason, why)


def sha256(data):
    return hashlib.sha256(data).hexdigest()
