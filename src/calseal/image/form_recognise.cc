#include <algorithm>

#include "calseal/base/lanes.h"
#include "calseal/image/form.h"
#include "calseal/image/record_text.h"

namespace calseal {
namespace {

using record_text::Line;
using record_text::Lines;

bool is_record_text(std::uint8_t byte) {
  const char c = static_cast<char>(byte);
  return record_text::digit_value(c) >= 0 || c == ':' || c == 'S' || c == 's' || c == '\r' || c == '\n';
}

// Bytes for which `holds` gives all ones, among the first `vectors` * lanes::kSize; at most 255 vectors.
template <typename Holds>
std::size_t count_where(const std::uint8_t* bytes, std::size_t vectors, Holds holds) {
  lanes::U8 counts{};
  for (std::size_t i = 0; i < vectors; ++i)
    counts -= lanes::U8(holds(lanes::load<lanes::U8>(bytes + i * lanes::kSize)));
  std::size_t count = 0;
  for (std::size_t lane = 0; lane < lanes::kSize; ++lane) count += counts[lane];
  return count;
}

std::size_t count_record_text(const std::uint8_t* bytes, std::size_t vectors) {
  return count_where(bytes, vectors, [](lanes::U8 c) {
    const lanes::U8 lower = c | 0x20;
    // '0' to ':' stand side by side.
    return (c - '0' <= ':' - '0') | (lower - 'a' <= 'f' - 'a') | (lower == 's') | (c == '\r') | (c == '\n');
  });
}

constexpr std::size_t kRun = 255 * lanes::kSize;  // bytes that lanes of 8 bits can count

// Whether at least half of the bytes lie below '\n' or above 's', where no record text does: true of most
// images, and told by one comparison instead of five.
bool is_mostly_outside_text(ByteView file) {
  std::size_t outside = 0;
  for (ByteView rest = file; rest.size() >= lanes::kSize;) {
    const std::size_t vectors = std::min(kRun, rest.size()) / lanes::kSize;
    outside += count_where(rest.data(), vectors, [](lanes::U8 c) { return c - '\n' > 's' - '\n'; });
    if (2 * outside >= file.size()) return true;
    rest = rest.subspan(vectors * lanes::kSize);
  }
  return false;
}

// Whether more than half of the bytes are record text; looks no further than it must.
bool is_mostly_record_text(ByteView file) {
  if (is_mostly_outside_text(file)) return false;
  std::size_t text = 0;
  std::size_t other = 0;
  for (ByteView rest = file; !rest.empty();) {
    const ByteView part = rest.first(std::min(kRun, rest.size()));
    const std::size_t vectors = part.size() / lanes::kSize;
    const ByteView tail = part.subspan(vectors * lanes::kSize);
    const std::size_t found = count_record_text(part.data(), vectors) +
                              static_cast<std::size_t>(std::ranges::count_if(tail, is_record_text));
    text += found;
    other += part.size() - found;
    if (2 * text > file.size()) return true;
    if (2 * other >= file.size()) return false;
    rest = rest.subspan(part.size());
  }
  return false;
}

std::string_view without_blanks(std::string_view text) {
  const std::size_t begin = text.find_first_not_of(" \t");
  if (begin == std::string_view::npos) return {};
  return text.substr(begin, text.find_last_not_of(" \t") + 1 - begin);
}

// The next line that is not blank.
std::optional<Line> next_filled(Lines& lines) {
  while (std::optional<Line> line = lines.next()) {
    line->text = without_blanks(line->text);
    if (!line->text.empty()) return line;
  }
  return std::nullopt;
}

// The kind of which the line is a whole record.
std::optional<FormKind> whole_record(const Line& line) {
  if (record_text::decode_intel_hex(line)) return FormKind::kIntelHex;
  if (record_text::decode_s_record(line)) return FormKind::kSRecord;
  return std::nullopt;
}

}  // namespace

FormKind recognise_form(ByteView file) {
  constexpr std::string_view kByteOrderMark = "\xef\xbb\xbf";
  if (text_of(file).starts_with(kByteOrderMark)) file = file.subspan(kByteOrderMark.size());

  Lines lines(file);
  std::optional<Line> line = next_filled(lines);
  if (!line) return FormKind::kRaw;
  if (const std::optional<FormKind> kind = whole_record(*line)) return *kind;

  if (!is_mostly_record_text(file)) return FormKind::kRaw;
  std::optional<FormKind> marked;
  for (; line; line = next_filled(lines)) {
    const std::optional<FormKind> mark = record_text::marked_as(line->text);
    if (!mark) continue;
    if (const std::optional<FormKind> kind = whole_record(*line)) return *kind;
    if (!marked) marked = mark;
  }
  return marked.value_or(FormKind::kRaw);
}

}  // namespace calseal
