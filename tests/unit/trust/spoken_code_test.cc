#include "calseal/trust/spoken_code.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "support/matchers.h"
#include "support/random.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

struct CheckDigitRow {
  std::string digits;
  std::uint64_t check = 0;
};

struct CodeRow {
  Spoken kind = Spoken::kKey;
  Sha256 digest;
  std::string code;
};

struct ReadingRow {
  std::string what;
  Spoken kind = Spoken::kKey;
  std::string text;
  SpokenReading expected;
};

// Reads spoken_code.json whole, so that a list that nobody reads is noticed.
struct SpokenVectors {
  std::vector<CheckDigitRow> check_digits;
  std::vector<CodeRow> codes;
  std::vector<ReadingRow> readings;
};

Spoken read_kind(JsonObject& row) {
  return static_cast<Spoken>(row.choice("kind", {"key", "revision", "receipt"}));
}

SpokenVectors read_vectors(JsonObject& root) {
  SpokenVectors out;
  for (const JsonNode& node : root.items("check_digits", 100)) {
    JsonObject row(node);
    out.check_digits.push_back({row.text("digits"), row.integer("check", 0, 9)});
    row.text("source");
    row.done();
  }
  for (const JsonNode& node : root.items("codes", 100)) {
    JsonObject row(node);
    const Spoken kind = read_kind(row);
    out.codes.push_back({kind, parse_digest(row.text("digest")).value_or(Sha256()), row.text("code")});
    row.done();
  }
  for (const JsonNode& node : root.items("readings", 200)) {
    JsonObject row(node);
    ReadingRow& reading = out.readings.emplace_back();
    reading.what = row.text("what");
    reading.kind = read_kind(row);
    reading.text = row.text("text", 4096);
    if (row.has("code")) reading.expected.code = row.text("code");
    if (row.has("fault")) reading.expected.fault = row.text("fault");
    row.done();
  }
  return out;
}

const SpokenVectors& vectors() {
  static const SpokenVectors kVectors = [] {
    SpokenVectors out;
    const Result<Bytes> bytes = read_file(vector_path("spoken_code.json"), 1 << 20);
    EXPECT_THAT(bytes, IsOk());
    EXPECT_THAT(read_vector_text(std::string(text_of(bytes.value_or(Bytes()))), "spoken_code.json",
                                 [&](JsonObject& root) { out = read_vectors(root); }),
                IsOk());
    return out;
  }();
  return kVectors;
}

constexpr Spoken kAll[] = {Spoken::kKey, Spoken::kRevision, Spoken::kReceipt};

Sha256 drawn_digest(Random& random) {
  Sha256 digest;
  const Bytes bytes = random.bytes(digest.bytes.size());
  std::copy(bytes.begin(), bytes.end(), digest.bytes.begin());
  return digest;
}

std::vector<std::string> groups_of(const std::string& code) {
  std::vector<std::string> groups;
  for (std::size_t at = 2; at < code.size(); at += 5) groups.push_back(code.substr(at, 4));
  return groups;
}

std::string joined(char letter, const std::vector<std::string>& groups, std::string_view between = " ") {
  std::string code(1, letter);
  for (const std::string& group : groups) code.append(between).append(group);
  return code;
}

TEST(SpokenCode, CheckDigitsAreThePublishedOnes) {
  ASSERT_GE(vectors().check_digits.size(), 6U);
  for (const CheckDigitRow& row : vectors().check_digits)
    EXPECT_EQ(mod_11_10_check_digit(row.digits), static_cast<int>(row.check)) << row.digits;
}

TEST(SpokenCode, CodesAreThoseOfTheVectors) {
  ASSERT_GE(vectors().codes.size(), 18U);
  for (const CodeRow& row : vectors().codes) EXPECT_EQ(spoken_code(row.kind, row.digest), row.code);
}

TEST(SpokenCode, IsReadAsTheVectorsSay) {
  ASSERT_GE(vectors().readings.size(), 50U);
  for (const ReadingRow& row : vectors().readings) {
    const SpokenReading heard = read_spoken_code(row.text, row.kind);
    EXPECT_EQ(heard.code, row.expected.code) << row.what;
    EXPECT_EQ(heard.fault, row.expected.fault) << row.what;
  }
}

TEST(SpokenCode, ReadsBackWhateverSeparatesItsGroups) {
  Random random;
  constexpr std::string_view kBetween[] = {" ", "", "-", ", ", "\u2013", "\u00a0", "\r\n", ".", "\u3000"};
  for (int i = 0; i < 2000; ++i) {
    const Spoken kind = kAll[random.between(0, 2)];
    const std::string code = spoken_code(kind, drawn_digest(random));
    std::string typed =
        joined(code[0], groups_of(code), kBetween[random.between(0, std::size(kBetween) - 1)]);
    if (random.coin()) typed[0] = static_cast<char>(typed[0] - 'A' + 'a');
    EXPECT_EQ(read_spoken_code(typed, kind).code, code) << typed;
  }
}

// Different first bytes give different codes; bytes behind them do not count.
TEST(SpokenCode, HoldsExactlyItsBitsOfTheDigest) {
  Random random;
  for (const auto& [kind, bytes] :
       {std::pair(Spoken::kKey, 16), std::pair(Spoken::kRevision, 16), std::pair(Spoken::kReceipt, 6)}) {
    const Sha256 digest = drawn_digest(random);
    for (std::size_t bit = 0; bit < 256; ++bit) {
      Sha256 bent = digest;
      bent.bytes[bit / 8] = static_cast<std::uint8_t>(bent.bytes[bit / 8] ^ (1 << bit % 8));
      EXPECT_EQ(spoken_code(kind, bent) != spoken_code(kind, digest),
                bit / 8 < static_cast<std::size_t>(bytes))
          << bit;
    }
  }
}

TEST(SpokenCode, EveryWrongDigitIsNamedByItsGroup) {
  Random random;
  const std::string code = spoken_code(Spoken::kKey, drawn_digest(random));
  for (std::size_t at = 2; at < code.size(); ++at) {
    if (code[at] == ' ') continue;
    for (char digit = '0'; digit <= '9'; ++digit) {
      std::string wrong = code;
      wrong[at] = digit;
      const std::string fault = read_spoken_code(wrong, Spoken::kKey).fault;
      const std::string expected =
          "group " + std::to_string((at - 2) / 5 + 1) + " does not fit its check digit";
      EXPECT_EQ(fault, wrong == code ? "" : expected) << wrong;
    }
  }
}

// Every group at every place with every digit replaced by every other.
TEST(SpokenCode, NoSingleWrongDigitFitsItsCheckDigit) {
  std::size_t all = 0;
  std::size_t missed = 0;
  for (int text = 0; text < 10000; ++text) {
    std::string group = std::to_string(text + 10000).substr(1);  // place and data
    group += static_cast<char>('0' + mod_11_10_check_digit(group));
    for (std::size_t at = 1; at < group.size(); ++at) {
      for (char digit = '0'; digit <= '9'; ++digit) {
        if (digit == group[at]) continue;
        std::string wrong = group;
        wrong[at] = digit;
        ++all;
        if (mod_11_10_check_digit(wrong.substr(0, 4)) == wrong[4] - '0') ++missed;
      }
    }
  }
  std::cout << "wrong digits: " << missed << " of " << all << " go unnoticed\n";
  EXPECT_EQ(all, 360000U);
  EXPECT_EQ(missed, 0U);
}

// Digit and neighbour exchanged, in every group at every place. MOD 11,10 does not promise to notice each.
TEST(SpokenCode, NearlyEveryTranspositionWithinAGroupIsNoticed) {
  std::size_t all = 0;
  std::size_t missed = 0;
  for (int place = 0; place < 10; ++place) {
    for (int data = 0; data < 1000; ++data) {
      std::string group = std::to_string(place * 1000 + data + 10000).substr(1);
      group += static_cast<char>('0' + mod_11_10_check_digit(group));
      for (std::size_t at = 1; at < 4; ++at) {
        std::string wrong = group;
        std::swap(wrong[at], wrong[at + 1]);
        if (wrong == group) continue;
        ++all;
        if (mod_11_10_check_digit(wrong.substr(0, 4)) == wrong[4] - '0') ++missed;
      }
    }
  }
  RecordProperty("transpositions", static_cast<int>(all));
  RecordProperty("missed", static_cast<int>(missed));
  std::cout << "transpositions within a group: " << missed << " of " << all << " go unnoticed\n";
  EXPECT_EQ(all, 27000U);
  EXPECT_EQ(missed, 600U);
}

// Groups exchange their places: noticed unless the places are ten apart, where the same check digits serve.
TEST(SpokenCode, SwappedGroupsAreNoticedUnlessTenApart) {
  Random random;
  for (int i = 0; i < 50; ++i) {
    const std::string code = spoken_code(Spoken::kKey, drawn_digest(random));
    const std::vector<std::string> groups = groups_of(code);
    for (std::size_t one = 0; one < groups.size(); ++one) {
      for (std::size_t other = one + 1; other < groups.size(); ++other) {
        std::vector<std::string> swapped = groups;
        std::swap(swapped[one], swapped[other]);
        if (swapped == groups) continue;
        const SpokenReading heard = read_spoken_code(joined('K', swapped), Spoken::kKey);
        EXPECT_EQ(heard.fault.empty(), other - one == 10) << one << " and " << other;
        EXPECT_NE(heard.code, code);
      }
    }
  }
}

TEST(SpokenCode, ADigitTooFewOrTooManyIsNoticed) {
  Random random;
  const std::string code = spoken_code(Spoken::kRevision, drawn_digest(random));
  for (std::size_t at = 2; at < code.size(); ++at) {
    if (code[at] == ' ') continue;
    const std::string group = "group " + std::to_string((at - 2) / 5 + 1);
    std::string few = code;
    few.erase(at, 1);
    EXPECT_EQ(read_spoken_code(few, Spoken::kRevision).fault, group + " has 3 digits, not 4");
    std::string many = code;
    many.insert(at, 1, '7');
    EXPECT_EQ(read_spoken_code(many, Spoken::kRevision).fault, group + " has 5 digits, not 4");
  }
}

TEST(SpokenCode, AnyBytesAreReadWithoutHarm) {
  Random random;
  for (int i = 0; i < 5000; ++i) {
    Bytes bytes = random.bytes(random.between(0, 80));
    if (random.coin() && !bytes.empty()) bytes[0] = 'K';
    const std::string text(text_of(bytes));
    const SpokenReading heard = read_spoken_code(text, Spoken::kKey);
    EXPECT_NE(heard.code.empty(), heard.fault.empty());
    EXPECT_TRUE(is_utf8(heard.fault));
    EXPECT_EQ(printable(heard.fault), heard.fault);
    EXPECT_LE(without_separators_around(text).size(), text.size());
    looks_spoken(text);
  }
  EXPECT_EQ(read_spoken_code("K \xff", Spoken::kKey).fault, "group 1 holds \"\\xff\", which is no digit");
  EXPECT_EQ(read_spoken_code("K \xe2\x80", Spoken::kKey).fault, "group 1 holds \"\\xe2\", which is no digit");
}

TEST(SpokenCode, ALongTextGivesAShortAnswer) {
  const std::string code = spoken_code(Spoken::kKey, Sha256());
  EXPECT_EQ(read_spoken_code(std::string(std::size_t{1} << 18, ' ') + code, Spoken::kKey).code, code);
  const std::string ones = "K" + std::string(std::size_t{1} << 18, '1');
  EXPECT_LT(read_spoken_code(ones, Spoken::kKey).fault.size(), 200U);
}

TEST(SpokenDifference, NamesTheGroups) {
  const std::string code = spoken_code(Spoken::kKey, Sha256());
  std::string other = code;
  EXPECT_EQ(spoken_difference(code, other), "");
  other[2 + 5 * 4] = '9';
  EXPECT_EQ(spoken_difference(code, other), "group 5 differs");
  other[2 + 5 * 12] = '9';
  EXPECT_EQ(spoken_difference(code, other), "groups 5 and 13 differ");
  for (std::size_t at = 2; at < code.size(); at += 5) other[at] = '9';
  EXPECT_EQ(spoken_difference(code, other), "13 of 13 groups differ");
}

TEST(LooksSpoken, TellsACodeFromAFileName) {
  for (const char* text : {"K 1234 5678", "k12345678", "1234 5678", "Q-1234-5678", "X 1234.5678"})
    EXPECT_TRUE(looks_spoken(text)) << text;
  for (const char* text :
       {"", "K", "K 1234", "key 12345678", "12345678.pub", "keys/1234 5678", "K 1234 5678\x1b"})
    EXPECT_FALSE(looks_spoken(text)) << text;
}

TEST(SeparatorsAround, AreTakenOffAndNothingElse) {
  EXPECT_EQ(without_separators_around(""), "");
  EXPECT_EQ(without_separators_around(" -.\n\u2003"), "");
  EXPECT_EQ(without_separators_around("\u00a0 a - b.\r\n"), "a - b");
  EXPECT_EQ(without_separators_around("\ufeff"
                                      "a"),
            "\ufeff"
            "a");
  EXPECT_EQ(without_separators_around(" \xff "), "\xff");
}

}  // namespace
}  // namespace calseal
