#include "calseal/bundle/changes.h"

#include <gtest/gtest.h>

#include "calseal/bundle/set_descriptor.h"
#include "support/matchers.h"
#include "support/sample_bundle.h"

namespace calseal {
namespace {

const std::vector<Change> kChanges{{{"flash", {0x10, 0x14}}, "idle", "flat-foot"},
                                   {{"flash", {0x14, 0x15}}, "blocks[0]", ""},
                                   {{"eeprom", {0, 1}}, "", ""}};

Result<std::vector<Change>> parse_them(std::string_view text) { return parse_changes(view_of(text), "c"); }

TEST(Changes, ReadBackAsWritten) {
  EXPECT_THAT(parse_them(write_changes(kChanges)), IsOkAnd(kChanges));
  EXPECT_EQ(write_changes({}), R"({"calseal":"changes/1","changes":[]})");
  EXPECT_THAT(parse_them(write_changes({})), IsOkAnd(std::vector<Change>()));
  EXPECT_EQ(
      write_changes({kChanges[2]}),
      R"({"calseal":"changes/1","changes":[{"memory":"eeprom","start":"0x00000000","size":1,"region":"","option":""}]})");
}

TEST(Changes, OrderIsProved) {
  const auto written = [](std::vector<std::size_t> order) {
    std::vector<Change> changes;
    for (const std::size_t i : order) changes.push_back(kChanges[i]);
    return write_changes(changes);
  };
  EXPECT_THAT(parse_them(written({2, 0, 1})), IsOk());
  EXPECT_THAT(parse_them(written({1, 0})), FailsWith(Reason::kManifestInvalid, "/changes/1"));
  EXPECT_THAT(parse_them(written({0, 0})), FailsWith(Reason::kManifestInvalid, "/changes/1"));
  EXPECT_THAT(parse_them(written({0, 2, 1})), FailsWith(Reason::kManifestInvalid, "/changes/2"));
}

TEST(Changes, FaultsHaveTheirReasons) {
  EXPECT_THAT(parse_them(R"({"calseal":"set/1","changes":[]})"), FailsWith(Reason::kTypeWrong));
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","changes":[]} )"), FailsWith(Reason::kJsonNotCanonical));
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","changes":[)"), FailsWith(Reason::kJsonSyntax));
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","changes":[],"x":1})"),
              FailsWith(Reason::kJsonUnknownKey));
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","x":1})"), FailsWith(Reason::kJsonMissingKey));
  const std::string text = write_changes(kChanges);
  std::string bad_option = text;
  bad_option.replace(bad_option.find("flat-foot"), 9, "Flat foot");
  EXPECT_THAT(parse_them(bad_option), FailsWith(Reason::kJsonValue, "/changes/0/option"));
}

TEST(Changes, TheirSizeIsLimited) {
  EXPECT_THAT(parse_changes(Bytes(kChangesSizeLimit + 1, ' '), "c"), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(parse_changes(Bytes(kChangesSizeLimit, ' '), "c"), FailsWith(Reason::kTypeWrong));
}

// What the whole text is comes before what its items are, and these before a key too many.
TEST(Changes, FaultsOfTheListComeFirst) {
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","changes":[{"memory":1}],"x":[{}]})"),
              FailsWith(Reason::kJsonType, "/changes/0/memory"));
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","x":[{}],"changes":7})"),
              FailsWith(Reason::kJsonType, "/changes"));
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","changes":[{"memory":1}],"x":[{}})"),
              FailsWith(Reason::kJsonSyntax));
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","changes":[{"x":[1,{"memory":2}],"y":[],"memory":3},4]})"),
              FailsWith(Reason::kJsonType, "/changes/0/memory"));
  EXPECT_THAT(parse_them(R"({"calseal":"changes/1","changes":[[{"memory":"m"}]]})"),
              FailsWith(Reason::kJsonType, "/changes/0"));
}

// At the limit the first element is what is wrong; one more, and the list itself is.
TEST(Changes, TheirNumberIsLimited) {
  const auto of_empty_objects = [](std::size_t count) {
    std::string text = R"({"calseal":"changes/1","changes":[{})";
    for (std::size_t i = 1; i < count; ++i) text += ",{}";
    return text + "]}";
  };
  EXPECT_THAT(parse_them(of_empty_objects(kChangeLimit)), FailsWith(Reason::kJsonMissingKey, "/changes/0"));
  EXPECT_THAT(parse_them(of_empty_objects(kChangeLimit + 1)), FailsWith(Reason::kJsonValue, "/changes"));
}

Result<SetDescriptor> parse_text_of(const SetDescriptor& set) {
  return parse_set(view_of(write_set(set)), "s");
}

TEST(Set, ReadsBackAsWritten) {
  EXPECT_THAT(parse_text_of(sample_set()), IsOkAnd(sample_set()));
  EXPECT_TRUE(
      write_set(sample_set())
          .starts_with(R"({"calseal":"set/1","job":"job-7","members":[{"controller":"engine","base":1,)"));
  EXPECT_EQ(sample_set().find("transmission")->sequence, 9U);
  EXPECT_EQ(sample_set().find("gateway"), nullptr);
}

TEST(Set, MembersAndWriteOrderFitTogether) {
  SetDescriptor one = sample_set();
  one.members.pop_back();
  one.write_order = {"engine"};
  EXPECT_THAT(parse_text_of(one), FailsWith(Reason::kManifestInvalid, "/members"));
  SetDescriptor swapped = sample_set();
  std::swap(swapped.members[0], swapped.members[1]);
  EXPECT_THAT(parse_text_of(swapped), FailsWith(Reason::kManifestInvalid, "/members"));
  SetDescriptor twice = sample_set();
  twice.members[1].controller = "engine";
  EXPECT_THAT(parse_text_of(twice), FailsWith(Reason::kManifestInvalid, "/members"));
  for (const std::vector<std::string>& order : {std::vector<std::string>{"engine"},
                                                {"engine", "engine"},
                                                {"engine", "gateway"},
                                                {"engine", "transmission", "engine"}}) {
    SetDescriptor set = sample_set();
    set.write_order = order;
    EXPECT_THAT(parse_text_of(set), FailsWith(Reason::kManifestInvalid, "/write_order"));
  }
  SetDescriptor many = sample_set();
  many.members.clear();
  for (int i = 0; i < 17; ++i) many.members.push_back({"c" + std::to_string(10 + i), 1, 1, {}, {}});
  EXPECT_THAT(parse_text_of(many), FailsWith(Reason::kJsonValue, "/members"));
}

TEST(Set, FaultsHaveTheirReasons) {
  EXPECT_THAT(parse_set(view_of("{}"), "s"), FailsWith(Reason::kTypeWrong));
  EXPECT_THAT(parse_set(view_of(write_set(sample_set()) + "\n"), "s"), FailsWith(Reason::kJsonNotCanonical));
  EXPECT_THAT(parse_set(Bytes(kSetSizeLimit + 1, ' '), "s"), FailsWith(Reason::kFileTooLarge));
}

TEST(PinnedDigest, IsThatOfTheWrittenLines) {
  std::vector<ManifestSpan> spans{sample_span("flash", 0x80000000, 0x80000010, SpanKind::kLocked, "a", "b"),
                                  sample_span("flash", 0x80000010, 0x80000020, SpanKind::kVolatile, "", ""),
                                  sample_span("eeprom", 0, 5, SpanKind::kEditable, "c", "d")};
  const std::string before =
      "flash 0x80000000 16 ca978112ca1bbdcafac231b39a23dc4da786eff8147c4e72b9807785afee48bb\n"
      "eeprom 0x00000000 5 2e7d2c03a9507ae265ecf5b5356885a53393a2029d241394997265a1a25aefc6\n";
  EXPECT_EQ(compute_pinned_digest(spans, Side::kBefore), digest_of(before));
  EXPECT_NE(compute_pinned_digest(spans, Side::kAfter), digest_of(before));
}

}  // namespace
}  // namespace calseal
