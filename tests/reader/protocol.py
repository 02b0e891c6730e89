"""Requests and answers of fixtures/bundles/README.md, for readers in Python: one JSON file, or `--lines` for a stream."""

import base64
import json
import re
import sys

INLINE = "base64:"
# Files and words of order.md; a request may leave them out.
ONE_FILE = ("state", "withdrawals", "job_list", "inclusion", "newest")
DECLARED = ("return", "old_base", "clock_is_right")


def content_of_file(word):
    """A path, or the bytes themselves behind `base64:`."""
    if word.startswith(INLINE):
        return base64.b64decode(word[len(INLINE):])
    with open(word, "rb") as file:
        return file.read()


def inline(content):
    return INLINE + base64.b64encode(content).decode("ascii")


def reads_of(request):
    """(memory or "", file) of every read. A memory is named only where the word before `=` has the form of a name."""
    for word in request["reads"]:
        named = re.match(r"([a-z0-9][a-z0-9_-]{0,63})=(.*)", word, re.DOTALL)
        yield (named[1], named[2]) if named else ("", word)


def answer_line(request, answer):
    keys = ("outcome", "reason", "results", "state", "why")
    return json.dumps({"id": request.get("id", ""), **{key: answer[key] for key in keys if key in answer}}, separators=(",", ":"))


def serve(judge):
    """judge: request -> {"outcome", "reason", "results"}."""
    if sys.argv[1:] == ["--lines"]:
        for line in sys.stdin:
            request = json.loads(line)
            print(answer_line(request, judge(request)), flush=True)
        return 0
    if len(sys.argv) != 2:
        print("usage: READER REQUEST.json | READER --lines", file=sys.stderr)
        return 2
    with open(sys.argv[1], encoding="utf-8") as file:
        request = json.load(file)
    print(answer_line(request, judge(request)))
    return 0
