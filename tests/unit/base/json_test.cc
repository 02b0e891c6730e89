// Strict JSON: what is refused, with which reason and at which place; and the one canonical text.
#include "calseal/base/json.h"

#include <gtest/gtest.h>

#include "calseal/base/json_text.h"
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
        RefusedText{"MinusLeadingZero", "[-01]", Reason::kJsonNumber, "line 1, column 2"},
        RefusedText{"CommaTwice", "{\"a\":1, , \"b\":2}", Reason::kJsonSyntax, "line 1, column 9"},
        RefusedText{"CommaFirst", "[ , 1]", Reason::kJsonSyntax, "line 1, column 3"},
        RefusedText{"KeyIsMissing", "{\"a\":1, 2}", Reason::kJsonSyntax, "line 1, column 9"},
        RefusedText{"StringWhereNoneMayBe", "[1 \"two, three\"]", Reason::kJsonSyntax, "line 1, column 4"},
        RefusedText{"CutOffInAString", "[\"abc", Reason::kJsonSyntax, "line 1, column 6"},
        RefusedText{"RawControl", "[\"a\nb\"]", Reason::kJsonSyntax, "line 1, column 4"},
        RefusedText{"LoneSurrogate", "[\"\\ud800\"]", Reason::kJsonSyntax, ""},
        RefusedText{"LoneLowSurrogate", "[\n\"a\\udc00\"]", Reason::kJsonSyntax, "line 2, column 8"},
        RefusedText{"LoneSurrogateKey", "{\"\\udfff\":1}", Reason::kJsonSyntax, "line 1, column 8"},
        RefusedText{"HighSurrogateTwice", "[\"\\ud800\\ud800\"]", Reason::kJsonSyntax, ""},
        RefusedText{"EscapeUnknown", "[\"\\x41\"]", Reason::kJsonSyntax, "line 1"},
        RefusedText{"Plus", "[+1]", Reason::kJsonSyntax, "line 1, column 2"},
        RefusedText{"NoDigitBehindPoint", "[1.]", Reason::kJsonSyntax, "line 1"},
        RefusedText{"Infinity", "[Infinity]", Reason::kJsonSyntax, "line 1, column 2"},
        RefusedText{"NotANumber", "[NaN]", Reason::kJsonSyntax, "line 1, column 2"},
        RefusedText{"WordCutOff", "[tru]", Reason::kJsonSyntax, "line 1"},
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

TEST(Json, StringsAreDecoded) {
  const auto tree = parse_json(R"({"k\u0065y":"\u0000a\ud83d\ude00\/\\\"\u00e9é","b":["",7,false,{}]})", "f");
  ASSERT_THAT(tree, IsOk());
  ASSERT_EQ(tree->members.size(), 2U);
  EXPECT_EQ(tree->members[0].first, "key");
  EXPECT_EQ(tree->members[0].second.text, std::string("\0a\xf0\x9f\x98\x80/\\\"\xc3\xa9\xc3\xa9", 13));
  const JsonValue& list = tree->members[1].second;
  ASSERT_EQ(list.items.size(), 4U);
  EXPECT_EQ(list.items[0].text, "");
  EXPECT_EQ(list.items[1].integer, 7U);
  EXPECT_FALSE(list.items[2].boolean);
  EXPECT_EQ(list.items[3].kind, JsonValue::Kind::kObject);
}

TEST(Json, EveryValueKnowsItsFirstByte) {
  const std::string text = R"({"a": "x\u0041", "b" :[ 12 ,true, false ], "c":{}})";
  const auto tree = parse_json(text, "f");
  ASSERT_THAT(tree, IsOk());
  EXPECT_EQ(tree->offset, 0U);
  EXPECT_EQ(tree->find("a")->offset, text.find("\"x"));
  const JsonValue& list = *tree->find("b");
  EXPECT_EQ(list.offset, text.find('['));
  EXPECT_EQ(list.items[0].offset, text.find("12"));
  EXPECT_EQ(list.items[1].offset, text.find("true"));
  EXPECT_EQ(list.items[2].offset, text.find("false"));
  EXPECT_EQ(tree->find("c")->offset, text.find("{}"));
}

// Texts written straight out are those of a tree with the same members.
TEST(JsonText, WritesTheCanonicalText) {
  JsonText text;
  text.object([&] {
    text.member("a", "x\n\"\x01");
    text.member("b", std::uint64_t{9007199254740991});
    text.member("c", true);
    text.array("d", std::vector<std::string>{"", "[", "{:"}, [&](const auto& item) { text.value(item); });
    text.object("e", [] {});
    text.array("f", std::vector<int>{}, [](int) {});
    text.member("g", false);
  });
  const std::string written = text.take();
  EXPECT_EQ(written,
            R"({"a":"x\n\"\u0001","b":9007199254740991,"c":true,"d":["","[","{:"],"e":{},"f":[],"g":false})");
  const auto tree = parse_json(written, "f");
  ASSERT_THAT(tree, IsOk());
  EXPECT_EQ(canonical_json(*tree), written);
  EXPECT_EQ(text.take(), "");
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

TEST(ShownJson, IsUtf8AndMisleadsNobody) {
  JsonValue value;
  value.kind = JsonValue::Kind::kString;
  value.text = "\xc3\xa9\xe2\x80\xae\xf3\xa0\x81\x81\x7f\xff\n\"";
  EXPECT_EQ(shown_json(value), "\"\xc3\xa9\\u202e\\udb40\\udc41\\u007f\\ufffd\\n\\\"\"");
}

}  // namespace
}  // namespace calseal
