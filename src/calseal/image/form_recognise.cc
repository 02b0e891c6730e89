#include <algorithm>

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

  const auto text = static_cast<std::size_t>(std::count_if(file.begin(), file.end(), is_record_text));
  if (2 * text <= file.size()) return FormKind::kRaw;
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
