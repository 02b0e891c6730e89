// The short way of reading JSON beside the library's: whatever the short way takes, the library takes too and
// gives the same tree. An escape at the front of an array sends everything behind it the library's way.
#include "calseal/base/json_plain.h"

#include <gtest/gtest.h>

#include <random>

#include "calseal/base/text.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::string_view kLibrarysWay = "[\"\\u0041\",";

void expect_same(const JsonValue& plain, const JsonValue& library, const std::string& text) {
  ASSERT_EQ(plain.kind, library.kind) << text;
  EXPECT_EQ(plain.boolean, library.boolean) << text;
  EXPECT_EQ(plain.integer, library.integer) << text;
  EXPECT_EQ(plain.text, library.text) << text;
  EXPECT_EQ(plain.offset + kLibrarysWay.size(), library.offset) << text;
  ASSERT_EQ(plain.items.size(), library.items.size()) << text;
  for (std::size_t i = 0; i < plain.items.size(); ++i) expect_same(plain.items[i], library.items[i], text);
  ASSERT_EQ(plain.members.size(), library.members.size()) << text;
  for (std::size_t i = 0; i < plain.members.size(); ++i) {
    EXPECT_EQ(plain.members[i].first, library.members[i].first) << text;
    expect_same(plain.members[i].second, library.members[i].second, text);
  }
}

// True when the short way took the text.
bool compare(const std::string& text) {
  const std::optional<JsonValue> plain = parse_plain_json(text);
  const std::string wrapped = std::string(kLibrarysWay) + text + "]";
  EXPECT_FALSE(parse_plain_json(wrapped));
  if (!plain) return false;
  const Result<JsonValue> library = parse_json(wrapped, "f");
  EXPECT_THAT(library, IsOk()) << text;
  if (library && library->items.size() == 2) {
    expect_same(*plain, library->items[1], text);
  } else {
    ADD_FAILURE() << text;
  }
  return true;
}

class RandomText {
 public:
  explicit RandomText(std::uint32_t seed) : random_(seed) {}

  std::size_t below(std::size_t limit) { return random_() % limit; }

  std::string container(int depth) { return below(2) == 0 ? object(depth) : array(depth); }

 private:
  std::string space() {
    constexpr std::string_view kSpaces[] = {"", "", "", " ", "\n", "\t\r", "  "};
    return std::string(kSpaces[below(std::size(kSpaces))]);
  }
  std::string string() {
    constexpr std::string_view kParts[] = {
        "a",   "bc",       "0123456789abcdef", "\\n", "\\\"", "\\\\", "\\/",
        "\\t", "\xc3\xa9", "\xe2\x82\xac",     " ",   "\x7f", "{",    "]",
        ","};
    std::string text = "\"";
    for (std::size_t i = below(6); i > 0; --i) text += kParts[below(std::size(kParts))];
    return text + "\"";
  }
  std::string value(int depth) {
    switch (below(depth > 4 ? 4 : 6)) {
      case 0:
        return string();
      case 1:
        return std::to_string(below(2) == 0 ? below(12) : 9007199254740991 - below(3));
      case 2:
        return "true";
      case 3:
        return "false";
      default:
        return container(depth + 1);
    }
  }
  std::string array(int depth) {
    std::string text = "[" + space();
    for (std::size_t i = 0, n = below(5); i < n; ++i) {
      text += (i == 0 ? "" : "," + space()) + value(depth) + space();
    }
    return text + "]";
  }
  std::string object(int depth) {
    std::string text = "{" + space();
    const std::size_t n = below(20) == 0 ? 40 : below(5);
    for (std::size_t i = 0; i < n; ++i) {
      const std::string key = below(30) == 0 ? string() : "\"k" + std::to_string(i) + "\"";
      text += (i == 0 ? "" : "," + space()) + key + space() + ":" + space() + value(depth) + space();
    }
    return text + "}";
  }

  std::mt19937 random_;
};

TEST(JsonPlain, TakesNothingThatTheLibraryReadsOtherwise) {
  const std::uint32_t seed = std::random_device{}();
  SCOPED_TRACE("seed " + std::to_string(seed));
  RandomText random(seed);
  constexpr std::string_view kBytes = "{}[]\",:\\ \n01-.eEtfnul/bx\x01\x7f\xc3";
  int taken = 0, damaged_taken = 0;
  for (int round = 0; round < 3000; ++round) {
    std::string text = random.container(0);
    taken += compare(text) ? 1 : 0;
    for (std::size_t i = 1 + random.below(2); i > 0; --i) {
      const std::size_t at = random.below(text.size());
      const char byte = kBytes[random.below(kBytes.size())];
      switch (random.below(3)) {
        case 0:
          text[at] = byte;
          break;
        case 1:
          text.insert(at, 1, byte);
          break;
        default:
          text.erase(at, 1);
      }
      if (text.empty()) text = "[]";
    }
    // What is not UTF-8 never comes here.
    if (is_utf8(text)) damaged_taken += compare(text) ? 1 : 0;
  }
  EXPECT_GT(taken, 2000);
  EXPECT_GT(damaged_taken, 100);
}

TEST(JsonPlain, LeavesEverythingUnusualToTheLibrary) {
  for (const char* text : {"",
                           " ",
                           "1",
                           "\"a\"",
                           "true",
                           "[1] 2",
                           "[01]",
                           "[-1]",
                           "[1.0]",
                           "[1e3]",
                           "[9007199254740992]",
                           "[12345678901234567]",
                           "[1,]",
                           "{\"a\":1,}",
                           "{\"a\":1,\"a\":2}",
                           "[null]",
                           "[tru]",
                           "[\"\\u0041\"]",
                           "[\"\\x\"]",
                           "[\"a",
                           "[\"a\\",
                           "[\"\n\"]",
                           "{1:2}",
                           "{\"a\"}",
                           "{\"a\":}",
                           "[",
                           "{",
                           "[}",
                           "]"}) {
    EXPECT_FALSE(parse_plain_json(text)) << text;
  }
  EXPECT_TRUE(parse_plain_json(std::string(32, '[') + std::string(32, ']')));
  EXPECT_FALSE(parse_plain_json(std::string(33, '[') + std::string(33, ']')));
  EXPECT_FALSE(parse_plain_json(std::string_view("{}\0", 3)));
}

TEST(JsonPlain, FindsWhatCannotStandRawAtEveryPlace) {
  for (std::size_t size = 0; size < 40; ++size) {
    for (int value = 0; value < 256; ++value) {
      for (std::size_t at = 0; at < size; ++at) {
        std::string text(size, at % 2 == 0 ? '\xff' : ' ');
        text[at] = static_cast<char>(value);
        const bool raw = value >= 0x20 && value != '"' && value != '\\';
        const char* const end = text.data() + size;
        EXPECT_EQ(find_escaped(text.data(), end), raw ? end : text.data() + at);
      }
    }
  }
}

}  // namespace
}  // namespace calseal
