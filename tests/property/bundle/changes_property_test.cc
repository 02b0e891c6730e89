// changes.json is read item by item. A reader that builds the whole tree first, and judges it as the format's
// page says, must find the same changes or the same fault at the same place, whatever the text.
#include <gtest/gtest.h>

#include <set>

#include "calseal/base/text.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/signed_json.h"
#include "fuzz/bend_json.h"
#include "support/matchers.h"
#include "support/random.h"

namespace calseal {
namespace {

Result<std::vector<Change>> read_whole(const std::string& text) {
  CALSEAL_CHECK(check_kind(view_of(text), kChangesLiteral, "c"));
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text, "c"));
  JsonDocument document(text, "c");
  JsonObject top(JsonNode(document, tree));
  top.text("calseal");
  std::vector<Change> changes;
  for (const JsonNode& node : top.items("changes", kChangeLimit)) {
    changes.push_back(read_record(node, change_fields));
    if (!document.ok()) break;
  }
  top.done();
  if (!document.ok()) return fail(document.error());
  CALSEAL_CHECK(check_canonical(view_of(text), write_changes(changes), "c"));
  return changes;
}

std::string told(const Result<std::vector<Change>>& result) {
  if (result) return "fine: " + write_changes(*result);
  const Error& e = result.error();
  return std::string(code(e.reason)) + " | " + e.place + " | " + e.found + " | " + e.expected + " | " +
         e.next;
}

std::string random_changes(Random& random) {
  std::vector<Change> changes;
  std::uint64_t at = 0;
  for (std::uint64_t i = random.between(0, 6); i > 0; --i) {
    const std::uint64_t size = random.between(1, 9);
    changes.push_back({{"m", {at, at + size}},
                       random.between(0, 1) == 0 ? "" : "r\xc3\xa4[0]",
                       random.between(0, 2) == 0 ? "o" : ""});
    at += size + random.between(0, 2);
  }
  return write_changes(changes);
}

// Pieces that a text may be spoilt with; keys and brackets of all kinds.
std::string spoilt(std::string text, Random& random) {
  static constexpr std::string_view kPieces[] = {"{",
                                                 "}",
                                                 "[",
                                                 "]",
                                                 ",",
                                                 ":",
                                                 "\"memory\":",
                                                 "\"memory\":\"m\",",
                                                 "\"x\":1,",
                                                 "\"x\":[{}],",
                                                 "null",
                                                 "1.5",
                                                 "-1",
                                                 "99999999999999999",
                                                 " ",
                                                 "\\u0061",
                                                 "\"\\ud800\"",
                                                 "\xff",
                                                 "true",
                                                 "{\"a\":1,\"a\":2}",
                                                 "\"changes\":[],",
                                                 "\"calseal\":1,",
                                                 "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[",
                                                 "\"y\":{\"z\":[1,2]},",
                                                 "\"\"",
                                                 "0"};
  const std::size_t least = std::min(text.size(), kChangesLiteral.size());
  const std::size_t at = random.between(least, text.size());
  if (random.between(0, 2) == 0) {
    text.erase(at, random.between(1, 12));
  } else {
    text.insert(at, kPieces[random.between(0, std::size(kPieces) - 1)]);
  }
  return text;
}

TEST(ChangesProperty, OneByOneIsAsAllAtOnce) {
  Random random;
  std::set<std::string> reasons;
  for (int i = 0; i < 40'000; ++i) {
    std::string text = random_changes(random);
    for (std::uint64_t bends = random.between(0, 3); bends > 0; --bends) {
      if (random.between(0, 1) == 0) {
        text = spoilt(std::move(text), random);
      } else {
        const Bend bend{0, static_cast<std::uint8_t>(random.between(0, 255)),
                        static_cast<std::uint16_t>(random.between(0, 65535)),
                        static_cast<std::uint16_t>(random.between(0, 65535))};
        text = bent_json(text, {bend});
      }
    }
    const auto streamed = parse_changes(view_of(text), "c");
    const auto whole = read_whole(text);
    // The order of ranges is judged last, and by one of the two alone.
    if (!streamed && streamed.error().reason == Reason::kManifestInvalid) {
      ASSERT_TRUE(whole.has_value()) << text;
      continue;
    }
    ASSERT_EQ(told(streamed), told(whole)) << text;
    reasons.insert(streamed ? "fine" : std::string(code(streamed.error().reason)));
  }
  EXPECT_GE(reasons.size(), 10U) << testing::PrintToString(reasons);
}

// Objects with many keys are judged when they end, or when reading ends within them.
TEST(ChangesProperty, TheFirstRepeatedKeyIsNamedWhereverReadingEnds) {
  Random random;
  for (int i = 0; i < 2'000; ++i) {
    std::string text = R"({"calseal":"changes/1",)";
    std::vector<std::set<std::string>> keys{{"calseal"}};
    std::size_t first = std::string::npos;  // where the first repeated key begins
    for (int members = 0; members < 120; ++members) {
      const std::string key = "k" + std::to_string(random.between(0, 4000));
      if (!keys.back().insert(key).second && first == std::string::npos) first = text.size();
      text += "\"" + key + "\":";
      if (random.between(0, 9) == 0) {
        text += "{";
        keys.emplace_back();
      } else {
        text += "1,";
      }
      if (keys.size() > 1 && random.between(0, 60) == 0) {
        text += "\"end\":1},";
        keys.pop_back();
      }
      if (keys.size() > 20) break;
    }
    const bool ends = random.between(0, 1) == 0;
    if (ends) {
      text += "\"end\":1}";
      for (; keys.size() > 1; keys.pop_back()) text += ",\"end\":1}";
    }
    const auto result = parse_changes(view_of(text), "c");
    ASSERT_FALSE(result.has_value());
    if (first == std::string::npos) {
      ASSERT_EQ(result.error().reason, ends ? Reason::kJsonMissingKey : Reason::kJsonSyntax) << text;
      continue;
    }
    ASSERT_EQ(result.error().reason, Reason::kJsonRepeatedKey) << text;
    ASSERT_EQ(result.error().place, line_and_column(text, first)) << text;
  }
}

}  // namespace
}  // namespace calseal
