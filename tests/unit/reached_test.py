"""Nothing stands in src/ that no program calls, and the page exports nothing that nobody imports.

usage: reached_test.py [PROJECT_ROOT]
Followed by names: a function that is named in one that is reached counts as reached, whichever of its namesakes is meant. So what
this finds is certainly not called, and what it does not find may still not be.
"""

import pathlib
import re
import sys
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import scopes

ROOT = pathlib.Path(__file__).resolve().parents[2]
OPERATOR = re.compile(r"\W|operator$")
INTERFACES = ("programs/", "calseal/api/", "calseal/capi/")
CALLED_FROM_OUTSIDE = {
    # The SAX interface of JSON for Modern C++ (base/json_tree.cc).
    "null", "boolean", "number_integer", "number_unsigned", "number_float", "string", "binary", "start_object", "key", "end_object",
    "start_array", "end_array", "parse_error",
}
FOR_TESTS = {
    "from_seed": "keys that are the same in every run",
    "record_schema": "printed by the program of tests/records, which compares it with the pages",
}

PAGE_FOR_TESTS = {"isClosedParcel", "openParcel"}  # The page closes parcels, and only tests open what it closed.


def functions(texts):
    """Name -> the words of all functions of that name, and the words outside of functions; `texts` gives (name, text)."""
    by_name, loose = {}, set()
    for name, text in texts:
        if name.endswith(".inc"):
            loose.update(re.findall(r"\w+", text))
            continue
        for scope in scopes.scopes(text, loose):
            if scope.kind != "function":
                continue
            constructs = scope.outer is not None and scope.outer.kind == "type" and scope.outer.name.startswith(scope.name)
            if constructs or OPERATOR.match(scope.name) or name.startswith(INTERFACES):
                loose.update(scope.words)
            else:
                by_name.setdefault(scope.name, []).append((name, scope))
    return by_name, loose


def not_reached(by_name, roots):
    reached, waiting = set(), set(roots)
    while waiting:
        word = waiting.pop()
        reached.add(word)
        for _, scope in by_name.get(word, []):
            waiting |= scope.words - reached
    return sorted(f"{file}:{scope.first} {name}" for name, found in by_name.items() if name not in reached for file, scope in found)


def sources():
    for path in sorted((ROOT / "src").rglob("*")):
        if re.search(r"\.(h|cc|inc|cc\.in)$", path.name):
            yield str(path.relative_to(ROOT / "src")), path.read_text()


def imports(text):
    """(module, name) of everything that a module of the page imports."""
    for names, module in re.findall(r'import\s*\{([^}]*)\}\s*from\s*"[^"]*?(\w+\.js)"', text):
        for name in re.findall(r"(\w+)(?:\s+as\s+\w+)?\s*(?:,|$)", names.strip()):
            yield module, name
    for module, names in re.findall(r'import\("[^"]*?(\w+\.js)"\)[^;]*?\{([^}]*)\}', text):
        for name in re.findall(r"\w+", names):
            yield module, name


class Reached(unittest.TestCase):
    def test_a_program_calls_every_function(self):
        texts = list(sources())
        self.assertGreater(len(texts), 400)
        by_name, loose = functions(texts)
        exceptions = CALLED_FROM_OUTSIDE | set(FOR_TESTS)
        self.assertEqual(not_reached(by_name, loose | exceptions), [])
        self.assertEqual(exceptions - set(by_name), set(), "exceptions that are no longer there")

    def test_every_export_of_the_page_is_imported(self):
        modules = {path.name: path.read_text() for path in (ROOT / "src/page").glob("*.js")}
        wanted = {pair for text in modules.values() for pair in imports(text)}
        for path in sorted((ROOT / "tests").rglob("*.mjs")):
            wanted |= set(imports(path.read_text()))
        exported = {(module, name) for module, text in modules.items()
                    for name in re.findall(r"^export (?:async )?(?:function\*?|const|class) (\w+)", text, re.M)}
        self.assertGreater(len(exported), 200)
        self.assertEqual(sorted(exported - wanted), [])
        # And what only a test imports is used where it stands.
        self.assertEqual([(module, name) for module, name in sorted(exported) if name not in PAGE_FOR_TESTS and
                          sum(len(re.findall(rf"\b{name}\b", text)) for text in modules.values()) < 2], [])

    def test_the_test_notices(self):
        texts = [("programs/p.cc", "int main() { return a(); }"),
                 ("b.cc", "namespace n { int a() { return 1; } int c() { return d(); } int d() { return c(); } }")]
        self.assertEqual(not_reached(*functions(texts)), ["b.cc:1 c", "b.cc:1 d"])


if __name__ == "__main__":
    if len(sys.argv) > 1:
        ROOT = pathlib.Path(sys.argv.pop(1)).resolve()
    unittest.main()
