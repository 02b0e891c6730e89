"""No two types share a name that the linker sees: it keeps one body of each inline member, and the other type's objects go through it.

usage: names_test.py [PROJECT_ROOT]
Types in anonymous namespaces and in functions are a file's own. That a function is no other file's namesake is the compiler's to
say: -Wmissing-declarations.
"""

import pathlib
import sys
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import scopes

ROOT = pathlib.Path(__file__).resolve().parents[2]


def shared_names(texts):
    """Name -> all places where a type of that name is defined, when there are several; `texts` gives (file, text)."""
    places = {}
    for file, text in texts:
        for scope in scopes.scopes(text):
            if scope.kind == "type" and scope.name and scope.seen_by_the_linker():
                places.setdefault(scope.full_name, []).append(f"{file}:{scope.first}")
    return {name: found for name, found in places.items() if len(found) > 1}


class Names(unittest.TestCase):
    def test_every_type_has_a_name_of_its_own(self):
        texts = [(str(path.relative_to(ROOT)), path.read_text()) for folder in ("src", "tests", "fixtures/demo")
                 for path in sorted((ROOT / folder).rglob("*")) if path.suffix in (".h", ".cc")]
        self.assertGreater(len(texts), 500)
        self.assertEqual(shared_names(texts), {})

    def test_the_test_notices(self):
        one = ("a.cc", "namespace n {\nstruct Row { int a; };\nnamespace { struct Own {}; }\ntemplate <> struct Of<int> {};\n}")
        two = ("b.cc", "namespace n { namespace m { class Row {}; }\nclass Row final : public Base<Row> { std::string b; };\n"
                       "struct Row;\nnamespace { struct Own {}; }\ntemplate <> struct Of<char> {};\nvoid f() { struct Row {}; } }")
        self.assertEqual(shared_names([one, two]), {"n::Row": ["a.cc:2", "b.cc:2"]})


if __name__ == "__main__":
    if len(sys.argv) > 1:
        ROOT = pathlib.Path(sys.argv.pop(1)).resolve()
    unittest.main()
