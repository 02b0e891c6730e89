#include "calseal/base/record.h"

#include <gtest/gtest.h>

#include "calseal/base/boxed.h"

namespace calseal {
namespace {

enum class Colour : std::uint8_t { kRed, kGreen };

struct Part {
  std::uint64_t number = 1;
  friend bool operator==(const Part&, const Part&) = default;
};

struct Whole {
  std::string title = "a";
  Colour colour = Colour::kRed;
  bool ready = false;
  std::uint64_t depth = 7;
  std::vector<Part> parts;
  std::optional<Bytes> key;
  std::string note;
  Boxed<Part> spare;
  std::string at;  // or
  std::uint64_t address = 0x10;
  Range range{0x20, 0x24};
  friend bool operator==(const Whole&, const Whole&) = default;
};

void part_fields(Fields& field, Part& part) { field("number", part.number, Integer{1, 9}); }

void whole_fields(Fields& field, Whole& whole) {
  field.kind_of_file("whole/1");
  field("title", whole.title, Text{4});
  field("colour", whole.colour, Choice{"red", "green"});
  field("ready", whole.ready, Choice{"no", "yes"});
  field.object("inside", [&](Fields& inside) { inside("depth", whole.depth, Integer{}); });
  field("parts", whole.parts, List{Record{part_fields}, 2});
  field("key", whole.key, OrNothing<Hex>{{2}});
  field.unless("", "note", whole.note, Text{});
  field.optional("spare", whole.spare, Record{part_fields});
  field.either(
      "at", !whole.at.empty(), [&](Fields& with) { with("at", whole.at, kTime); },
      [&](Fields& without) { without("address", whole.address, kAddress); });
  range_fields(field, whole.range);
}

Whole full() {
  Whole whole;
  whole.colour = Colour::kGreen;
  whole.ready = true;
  whole.parts = {{1}, {9}};
  whole.key = Bytes{0xab, 0xcd};
  whole.note = "n";
  whole.spare = Part{3};
  whole.at = "2026-01-31T23:59:59Z";
  return whole;
}

std::string fault_of(const std::string& text) {
  const auto whole = parse_fields(text, whole_fields, "file");
  if (whole) return "none";
  const std::string& place = whole.error().place;
  return std::string(code(whole.error().reason)) + " " + place.substr(0, place.find(" (line"));
}

TEST(Record, IsWrittenInTheOrderOfItsFields) {
  EXPECT_EQ(canonical_text(Whole(), whole_fields),
            R"({"calseal":"whole/1","title":"a","colour":"red","ready":"no","inside":{"depth":7},"parts":[],)"
            R"("key":"","address":"0x00000010","start":"0x00000020","size":4})");
  EXPECT_EQ(canonical_text(full(), whole_fields),
            R"({"calseal":"whole/1","title":"a","colour":"green","ready":"yes","inside":{"depth":7},)"
            R"("parts":[{"number":1},{"number":9}],"key":"abcd","note":"n","spare":{"number":3},)"
            R"("at":"2026-01-31T23:59:59Z","start":"0x00000020","size":4})");
}

TEST(Record, IsReadAsItWasWritten) {
  for (const Whole& whole : {Whole(), full()}) {
    const auto read = parse_fields(canonical_text(whole, whole_fields), whole_fields, "file");
    ASSERT_TRUE(read);
    EXPECT_EQ(*read, whole);
  }
}

TEST(Record, SaysWhichFieldIsWrong) {
  const std::string good = canonical_text(full(), whole_fields);
  const auto with = [&](const std::string& from, const std::string& to) {
    std::string text = good;
    return fault_of(text.replace(text.find(from), from.size(), to));
  };
  EXPECT_EQ(fault_of(good), "none");
  EXPECT_EQ(with(R"("title":"a",)", ""), "json-missing-key the whole document");
  EXPECT_EQ(with(R"("a")", R"("abcde")"), "json-value /title");
  EXPECT_EQ(with(R"("green")", R"("blue")"), "json-value /colour");
  EXPECT_EQ(with(R"({"depth":7})", R"({"depth":7,"more":1})"), "json-unknown-key /inside/more");
  EXPECT_EQ(with(R"({"number":9})", R"({"number":10})"), "json-value /parts/1/number");
  EXPECT_EQ(with(R"({"number":9})", R"({"number":9},{"number":1})"), "json-value /parts");
  EXPECT_EQ(with(R"("abcd")", R"("abc")"), "json-value /key");
  EXPECT_EQ(with("31T23", "32T23"), "json-value /at");
  EXPECT_EQ(with(R"("size":4)", R"("size":4294967296)"), "json-value the whole document");
}

TEST(Record, IsDescribedByASchema) {
  EXPECT_EQ(
      record_schema(part_fields),
      R"({"type":"object","additionalProperties":false,"properties":{"number":{"type":"integer","minimum":1,)"
      R"("maximum":9}},"required":["number"]})");
  const auto schema = parse_json(record_schema(whole_fields), "schema");
  ASSERT_TRUE(schema);
  std::string required;
  for (const JsonValue& key : schema->find("required")->items) required += key.text + " ";
  EXPECT_EQ(required, "calseal title colour ready inside parts key start size ");
  std::string all;
  for (const JsonMember& member : schema->find("properties")->members) all += member.first + " ";
  EXPECT_EQ(all, "calseal title colour ready inside parts key note spare at address start size ");
}

}  // namespace
}  // namespace calseal
