"""Where the types and functions of C++ sources begin and end, by counting braces: enough for sources that are formatted like ours."""

import dataclasses
import re

TOKEN = re.compile(
    r'(?P<skip>//[^\n]*|/\*.*?\*/|^[ \t]*#(?:[^\n\\]|\\.)*|\[\[.*?\]\]|\balignas\([^)]*\))'
    r'|(?P<text>(?:u8|[uUL])?R"(?P<tag>[^(\s]*)\(.*?\)(?P=tag)"|"(?:[^"\\]|\\.)*"|\'(?:[^\'\\]|\\.)*\')'
    r"|(?P<word>[A-Za-z_]\w*|[0-9](?:'?\w)*)|(?P<sign>::|[^\s\w])", re.S | re.M)
TYPE_KEYS = {"struct", "class", "union", "enum"}


@dataclasses.dataclass
class Scope:
    kind: str  # namespace, type, function, or braces: whatever else stands between braces
    name: str
    first: int  # line on which its declaration begins
    last: int = 0
    outer: "Scope | None" = None
    words: set = dataclasses.field(default_factory=set)  # of a function: what its declaration and body mention

    @property
    def lines(self):
        return self.last - self.first + 1

    def around(self):
        scope = self.outer
        while scope:
            yield scope
            scope = scope.outer

    @property
    def full_name(self):
        return "::".join([scope.name for scope in reversed(list(self.around()))] + [self.name])

    def seen_by_the_linker(self):
        """Stands in namespaces that have names, and in nothing else."""
        return all(scope.kind == "namespace" and scope.name for scope in self.around())


def without_templates(head):
    """The words of a declaration without what stands between < and > or ( and ): what is left is its plain frame."""
    frame, depth = [], 0
    for word in head:
        if word in "(<":
            depth += 1
        elif word in ")>":
            depth -= 1
        elif depth == 0:
            frame.append(word)
    return frame


def type_name(head, frame):
    """The name that `struct X`, `enum class X` or `struct X<Y>` declares, its arguments with it."""
    name = next((word for word in reversed(frame[:(frame + [":"]).index(":")]) if word not in TYPE_KEYS | {"final"}), "")
    at = len(head) - 1 - head[::-1].index(name) if name else 0
    first = head.index(name, head.index(next(word for word in frame if word in TYPE_KEYS))) if name else at
    if head[first + 1:first + 2] != ["<"]:
        return name
    return name + "".join(head[first + 1:(head + [":"]).index(":", first)])


def classify(head, outer):
    """What the brace after the words of `head` opens."""
    frame = without_templates(head)
    if outer and outer.kind in ("function", "braces"):
        return "braces", ""
    if "namespace" in frame:
        return "namespace", "".join(frame[frame.index("namespace") + 1:])
    if TYPE_KEYS & set(frame) and "=" not in frame:
        return "type", type_name(head, frame)
    # `: member_{` in front of a constructor's body.
    if "(" in head and "=" not in frame and not (":" in frame and re.match(r"\w", head[-1]) and frame[-2] in (":", ",")):
        return "function", head[head.index("(") - 1]
    return "braces", ""


def scopes(text, loose=None):
    """Every namespace, type and function of `text`, outer ones first. `loose` gets the words that stand in initial values and
    macros, outside of all functions."""
    found, open_scopes, head, first, parens = [], [], [], 0, 0
    line, counted = 1, 0
    loose = set() if loose is None else loose
    function = None  # the outermost one that is open
    valued = False   # behind the = of an initial value
    for match in TOKEN.finditer(text):
        if match["skip"]:
            if re.match(r"\s*#\s*define", match[0]):
                loose.update(re.findall(r"\w+", match[0]))
            continue
        line += text.count("\n", counted, match.start())
        counted = match.start()
        word = '""' if match["text"] else match[0]
        ended = False
        if word == "{" and parens == 0:
            outer = open_scopes[-1] if open_scopes else None
            kind, name = classify(head, outer)
            scope = Scope(kind, name, first or line, outer=outer)
            open_scopes.append(scope)
            ended = kind != "braces"
            if ended:
                found.append(scope)
            if kind == "function":
                function = scope
                at = head.index("(")
                scope.words.update(head[:at - 1], head[at:])
        elif word == "}" and parens == 0:
            scope = open_scopes.pop()
            scope.last = line
            ended = scope.kind != "braces" or function is not None
            if scope is function:
                function = None
        elif word == ";" and parens == 0 or word == ":" and head in (["public"], ["private"], ["protected"]):
            ended = True
        else:
            parens += {"(": 1, ")": -1}.get(word, 0)
            valued = valued or word == "="
            if function:
                function.words.add(word)
            elif valued or open_scopes and open_scopes[-1].kind == "braces":
                loose.add(word)
            head.append(word)
            first = first or line
        if ended:
            head, first, valued = [], 0, False
    if open_scopes:
        raise ValueError(f"line {open_scopes[-1].first}: a brace is never closed")
    return found
