#include "calseal/trust/spoken_code.h"

#include <algorithm>
#include <array>
#include <optional>
#include <vector>

#include "calseal/base/text.h"
#include "calseal/base/utf8.h"

namespace calseal {
namespace {

constexpr std::size_t kGroupSize = 4;  // digits, the check digit included

struct Kind {
  char letter;
  std::size_t bytes, groups;
  std::string_view whose;
};

constexpr std::array<Kind, 3> kKinds{
    {{'K', 16, 13, "a root's or other key's"}, {'M', 16, 13, "a revision's"}, {'Q', 6, 5, "a receipt's"}}};

const Kind& kind_of(Spoken what) { return kKinds[static_cast<std::size_t>(what)]; }

struct Points {
  std::uint32_t first, last;
};

// White_Space and Dash of Unicode 16.0 (PropList.txt), the soft hyphen, dots and commas.
constexpr auto kSeparators = std::to_array<Points>(
    {{0x09, 0x0d},      {0x20, 0x20},     {0x2c, 0x2e},     {0x85, 0x85},     {0xa0, 0xa0},
     {0xad, 0xad},      {0xb7, 0xb7},     {0x58a, 0x58a},   {0x5be, 0x5be},   {0x1400, 0x1400},
     {0x1680, 0x1680},  {0x1806, 0x1806}, {0x2000, 0x200a}, {0x2010, 0x2015}, {0x2028, 0x2029},
     {0x202f, 0x202f},  {0x2053, 0x2053}, {0x205f, 0x205f}, {0x207b, 0x207b}, {0x208b, 0x208b},
     {0x2212, 0x2212},  {0x2e17, 0x2e17}, {0x2e1a, 0x2e1a}, {0x2e3a, 0x2e3b}, {0x2e40, 0x2e40},
     {0x2e5d, 0x2e5d},  {0x3000, 0x3002}, {0x301c, 0x301c}, {0x3030, 0x3030}, {0x30a0, 0x30a0},
     {0xfe31, 0xfe32},  {0xfe58, 0xfe58}, {0xfe63, 0xfe63}, {0xff0c, 0xff0e}, {0x10d6e, 0x10d6e},
     {0x10ead, 0x10ead}});

bool is_separator(std::uint32_t point) {
  return std::ranges::any_of(
      kSeparators, [point](const Points& points) { return point >= points.first && point <= points.last; });
}

// What follows in a text: the bytes of one character, and what it is.
enum class Sort : std::uint8_t { kSeparator, kDigit, kLetter, kForeign };
struct Character {
  std::string_view bytes;
  Sort sort;
};

Character character_at(std::string_view text, std::size_t at) {
  std::uint32_t point = 0;
  const std::size_t length = utf8_length(text, at, point);
  if (length == 0) return {text.substr(at, 1), Sort::kForeign};
  const std::string_view bytes = text.substr(at, length);
  if (is_separator(point)) return {bytes, Sort::kSeparator};
  if (point >= '0' && point <= '9') return {bytes, Sort::kDigit};
  if ((point >= 'a' && point <= 'z') || (point >= 'A' && point <= 'Z')) return {bytes, Sort::kLetter};
  return {bytes, Sort::kForeign};
}

// A group's check digit also covers its place, so that groups that changed places are noticed.
int check_digit_of(std::size_t group, std::string_view data) {
  return mod_11_10_check_digit(static_cast<char>('0' + group % 10) + std::string(data));
}

std::string with_spaces(char letter, std::string_view digits) {
  std::string code(1, letter);
  for (std::size_t at = 0; at < digits.size(); at += kGroupSize) {
    code.append(" ").append(digits.substr(at, kGroupSize));
  }
  return code;
}

std::string begins_with(const Kind& kind) {
  return std::string(kind.whose) + " code begins with " + kind.letter;
}

// Words about a letter in front that is not the one of `kind`; empty for the right one.
std::string letter_fault(char typed, const Kind& kind) {
  const char letter = static_cast<char>(typed >= 'a' ? typed - 'a' + 'A' : typed);
  if (letter == kind.letter) return {};
  const auto* const other =
      std::ranges::find_if(kKinds, [letter](const Kind& one) { return one.letter == letter; });
  if (other == kKinds.end())
    return std::string("no code begins with the letter ") + letter + "; " + begins_with(kind);
  return "this is " + std::string(other->whose) + " code (letter " + letter + "), not " +
         std::string(kind.whose) + " (letter " + kind.letter + ")";
}

// A character of ASCII as it is, any other by its number, a byte that is not UTF-8 by its value.
std::string shown(std::string_view character) {
  std::uint32_t point = 0;
  if (utf8_length(character, 0, point) < 2) return "\"" + printable(character) + "\"";
  std::string number = hex_number(point, 4).substr(2);
  for (char& digit : number) {
    if (digit >= 'a') digit = static_cast<char>(digit - 'a' + 'A');
  }
  return "U+" + number;
}

std::string foreign_fault(std::string_view character, std::size_t digits, const Kind& kind) {
  if (digits >= kind.groups * kGroupSize)
    return "the text goes on after the last group with " + shown(character);
  return "group " + std::to_string(digits / kGroupSize + 1) + " holds " + shown(character) +
         ", which is no digit";
}

// Digits without a separator between them.
struct Run {
  std::size_t start, size;  // both in digits
};

struct Digits {
  std::string text;       // no more than a code of this kind has
  std::size_t count = 0;  // of all
  // The first group with a digit too few or too many between its separators. Groups may be typed in pairs,
  // so other sizes say nothing.
  std::optional<Run> torn;
  std::string fault;  // of the letter, or a foreign character
};

// Splits the text into its letter and its digits.
Digits take_apart(std::string_view text, const Kind& kind) {
  Digits digits;
  bool letter = false;
  Run run{0, 0};
  const auto end_run = [&] {
    const bool uneven = run.size == kGroupSize - 1 || run.size == kGroupSize + 1;
    if (!digits.torn && uneven && run.start < kind.groups * kGroupSize) digits.torn = run;
    run = {digits.count, 0};
  };
  for (std::size_t at = 0; at < text.size();) {
    const Character next = character_at(text, at);
    at += next.bytes.size();
    if (next.sort == Sort::kSeparator) {
      end_run();
    } else if (next.sort == Sort::kLetter && !letter && digits.count == 0) {
      letter = true;
      digits.fault = letter_fault(next.bytes[0], kind);
    } else if (next.sort != Sort::kDigit) {
      digits.fault = foreign_fault(next.bytes, digits.count, kind);
    } else if (!letter) {
      digits.fault = "there is no letter in front; " + begins_with(kind);
    } else {
      if (digits.text.size() < kind.groups * kGroupSize) digits.text += next.bytes;
      ++digits.count;
      ++run.size;
    }
    if (!digits.fault.empty()) return digits;
  }
  end_run();
  if (!letter) digits.fault = "there is no letter in front; " + begins_with(kind);
  return digits;
}

std::string group_list(const std::vector<std::size_t>& groups) {
  std::string text = groups.size() == 1 ? "group " : "groups ";
  for (std::size_t i = 0; i < groups.size(); ++i) {
    if (i != 0) text += i + 1 == groups.size() ? " and " : ", ";
    text += std::to_string(groups[i]);
  }
  return text;
}

// Words about the whole groups that do not fit their check digits; empty where all do.
std::string misheard(std::string_view digits) {
  std::vector<std::size_t> wrong;
  for (std::size_t at = 0; at + kGroupSize <= digits.size(); at += kGroupSize) {
    const std::size_t group = at / kGroupSize + 1;
    const int check = digits[at + kGroupSize - 1] - '0';
    if (check_digit_of(group, digits.substr(at, kGroupSize - 1)) != check) wrong.push_back(group);
  }
  if (wrong.empty()) return {};
  return group_list(wrong) +
         (wrong.size() == 1 ? " does not fit its check digit" : " do not fit their check digits");
}

std::string fault_of(const Digits& digits, const Kind& kind) {
  if (!digits.fault.empty()) return digits.fault;
  const std::size_t all = kind.groups * kGroupSize;
  if (digits.count != all && digits.torn) {
    return "group " + std::to_string(digits.torn->start / kGroupSize + 1) + " has " +
           std::to_string(digits.torn->size) + " digits, not 4";
  }
  if (std::string fault = misheard(digits.text); !fault.empty()) return fault;
  if (digits.count == all) return {};
  return std::to_string(digits.count) + " digits, not " + std::to_string(all) + " (" +
         std::to_string(kind.groups) + " groups of 4)";
}

}  // namespace

int mod_11_10_check_digit(std::string_view digits) {
  int product = 10;
  for (const char digit : digits) {
    const int sum = (product + (digit - '0')) % 10;
    product = (sum == 0 ? 10 : sum) * 2 % 11;
  }
  return (11 - product) % 10;
}

std::string spoken_code(Spoken what, const Sha256& digest) {
  const Kind& kind = kind_of(what);
  std::vector<unsigned> number(digest.bytes.begin(),
                               digest.bytes.begin() + static_cast<std::ptrdiff_t>(kind.bytes));
  std::string digits(kind.groups * kGroupSize, '0');
  for (std::size_t group = kind.groups; group > 0; --group) {
    unsigned rest = 0;  // of the number divided by 1,000: the group's own three digits
    for (unsigned& byte : number) {
      rest = rest * 256 + byte;
      byte = rest / 1000;
      rest %= 1000;
    }
    char* const to = digits.data() + (group - 1) * kGroupSize;
    for (std::size_t i = kGroupSize - 1; i-- > 0; rest /= 10) to[i] = static_cast<char>('0' + rest % 10);
    to[kGroupSize - 1] = static_cast<char>('0' + check_digit_of(group, {to, kGroupSize - 1}));
  }
  return with_spaces(kind.letter, digits);
}

SpokenReading read_spoken_code(std::string_view text, Spoken what) {
  const Kind& kind = kind_of(what);
  const Digits digits = take_apart(text, kind);
  if (std::string fault = fault_of(digits, kind); !fault.empty()) return {{}, std::move(fault)};
  return {with_spaces(kind.letter, digits.text), {}};
}

std::string spoken_difference(std::string_view code, std::string_view other) {
  constexpr std::size_t kStep = kGroupSize + 1;
  std::vector<std::size_t> groups;
  for (std::size_t at = 2; at < code.size(); at += kStep) {
    if (code.substr(at, kGroupSize) != other.substr(at, kGroupSize)) groups.push_back(at / kStep + 1);
  }
  if (groups.empty()) return {};
  const std::size_t all = code.size() / kStep;
  if (groups.size() > 4)
    return std::to_string(groups.size()) + " of " + std::to_string(all) + " groups differ";
  return group_list(groups) + (groups.size() == 1 ? " differs" : " differ");
}

bool looks_spoken(std::string_view text) {
  std::size_t digits = 0;
  bool letter = false;
  for (std::size_t at = 0; at < text.size();) {
    const Character next = character_at(text, at);
    at += next.bytes.size();
    if (next.sort == Sort::kForeign || (next.sort == Sort::kLetter && (letter || digits > 0))) return false;
    letter = letter || next.sort == Sort::kLetter;
    if (next.sort == Sort::kDigit) ++digits;
  }
  return digits >= 2 * kGroupSize;
}

std::string_view without_separators_around(std::string_view text) {
  std::size_t begin = text.size();
  std::size_t end = 0;
  for (std::size_t at = 0; at < text.size();) {
    const Character next = character_at(text, at);
    if (next.sort != Sort::kSeparator) {
      begin = std::min(begin, at);
      end = at + next.bytes.size();
    }
    at += next.bytes.size();
  }
  return begin < end ? text.substr(begin, end - begin) : std::string_view();
}

}  // namespace calseal
