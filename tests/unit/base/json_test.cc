// Strict JSON: what is refused, with which reason and at which place; and the one canonical text.
#include "calseal/base/json.h"

#include <gtest/gtest.h>

#include "calseal/base/json_write.h"
#include "support/matchers.h"

namespace calseal {
namespace {

struct RefusedText {
  std::string name, text;
  Reason reason;
  std::string where;
};

class Refused : public ::testing::TestWithParam<RefusedText> {};

TEST_P(Refused, WithReasonAndPlace) {
  EXPECT_THAT(parse_json(GetParam().text, "f"), FailsWith(GetParam().reason, GetParam().where));
}

// RFC 8259 for the grammar; the rest is ours (base/json.h).
INSTANTIATE_TEST_SUITE_P(
    Json, Refused,
    ::testing::Values(
        RefusedText{"Nothing", "", Reason::kJsonSyntax, "line 1"},
        RefusedText{"CutOff", "{\"a\":[1,2", Reason::kJsonSyntax, "line 1"},
        RefusedText{"TrailingComma", "[1,]", Reason::kJsonSyntax, "line 1, column 4"},
        RefusedText{"Comment", "{ /* */ }", Reason::kJsonSyntax, "line 1"},
        RefusedText{"TwoValues", "1 2", Reason::kJsonSyntax, "line 1"},
        RefusedText{"NulAndMore", std::string("{}\0{}", 5), Reason::kJsonSyntax, "line 1, column 3"},
        RefusedText{"NulInside", std::string("[1,\0 2]", 7), Reason::kJsonSyntax, "line 1"},
        RefusedText{"SingleQuotes", "{'a':1}", Reason::kJsonSyntax, "line 1"},
        RefusedText{"LeadingZero", "[01]", Reason::kJsonSyntax, "line 1"},
        RefusedText{"RawControl", "[\"a\nb\"]", Reason::kJsonSyntax, ""},
        RefusedText{"LoneSurrogate", "[\"\\ud800\"]", Reason::kJsonSyntax, ""},
        RefusedText{"ByteOrderMark", "\xef\xbb\xbf{}", Reason::kJsonSyntax, "line 1, column 1"},
        RefusedText{"NotUtf8", "[\"\xc3\x28\"]", Reason::kJsonSyntax, ""},
        RefusedText{"Overlong", "[\"\xc0\xaf\"]", Reason::kJsonSyntax, ""},
        RefusedText{"Null", "{\n\"a\":null}", Reason::kJsonType, "line 2"},
        RefusedText{"RepeatedKey", "{\"a\":1,\n\"a\":1}", Reason::kJsonRepeatedKey, "line 2"},
        RefusedText{"RepeatedEscaped", "{\"a\":1,\"\\u0061\":1}", Reason::kJsonRepeatedKey, "line 1"},
        RefusedText{"Negative", "[-1]", Reason::kJsonNumber, "line 1"},
        RefusedText{"MinusZero", "[-0]", Reason::kJsonNumber, "line 1"},
        RefusedText{"Fraction", "[1.0]", Reason::kJsonNumber, "line 1"},
        RefusedText{"Exponent", "[1e3]", Reason::kJsonNumber, "line 1"},
        RefusedText{"AboveLimit", "[9007199254740992]", Reason::kJsonNumber, "line 1"},
        RefusedText{"FarAboveLimit", "[" + std::string(40, '9') + "]", Reason::kJsonNumber, "line 1"},
        RefusedText{"OutOfDouble", "[" + std::string(4000, '9') + "]", Reason::kJsonNumber, "line 1"},
        RefusedText{"OneTooDeep", std::string(33, '[') + std::string(33, ']'), Reason::kJsonDepth,
                    "line 1, column 33"},
        RefusedText{"FarTooDeep", std::string(200000, '['), Reason::kJsonDepth, "line 1"}),
    [](const auto& row) { return row.param.name; });

TEST(Json, AcceptsWhatItShould) {
  EXPECT_THAT(parse_json(std::string(32, '[') + std::string(32, ']'), "f"), IsOk());
  EXPECT_THAT(parse_json(" {\"a\" : [ 9007199254740991 , true , \"\\u00e9\" ] } ", "f"), IsOk());
}

TEST(Json, CanonicalTextIsAFixedPoint) {
  // Escapes after RFC 8785 section 3.2.2.2: short forms where there are any, lower-case \u00xx, all else raw.
  const std::string text =
      R"({"b":"\"\\\b\t\n\f\r\u0001\u001f","a":[0,9007199254740991,true,false,"/é"],"c":{}})";
  const auto tree = parse_json(text, "f");
  ASSERT_THAT(tree, IsOk());
  EXPECT_EQ(canonical_json(*tree), text);
}

TEST(Json, LinesAndColumnsCountFromOne) {
  EXPECT_EQ(line_and_column("ab\nc", 0), "line 1, column 1");
  EXPECT_EQ(line_and_column("ab\nc", 3), "line 2, column 1");
  EXPECT_EQ(line_and_column("ab\nc", 99), "line 2, column 2");
}

}  // namespace
}  // namespace calseal
