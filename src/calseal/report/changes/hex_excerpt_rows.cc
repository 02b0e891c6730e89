#include "calseal/report/changes/hex_excerpt_rows.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/report/layout/page.h"

namespace calseal {
namespace {

constexpr std::uint64_t kRow = 16;

struct Row {
  std::string before, after, marks;
};

// One row of the memory; bytes outside it or unknown show as "--". Only differences inside `range` are
// marked: the row may hold those of its neighbours too.
Row make_row(std::uint64_t begin, Range range, const Memory& before, const Memory& after) {
  Row row;
  for (std::uint64_t at = begin; at < begin + kRow; ++at) {
    const auto digits = [&](const Memory& memory) {
      return memory.known.contains(at) ? to_hex(memory.view({at, at + 1})) : std::string("--");
    };
    const std::string from = digits(before);
    const std::string to = digits(after);
    row.before += " " + from;
    row.after += " " + to;
    row.marks += from == to || !range.contains(at) ? "   " : " ^^";
  }
  row.marks.erase(row.marks.find_last_not_of(' ') + 1);
  return row;
}

}  // namespace

std::string hex_excerpt_rows(const Place& place, const Image& before, const Image& after, std::size_t rows) {
  const std::string indent(6, ' ');
  std::string text;
  std::uint64_t at = place.range.begin - place.range.begin % kRow;
  for (std::size_t shown = 0; at < place.range.end; at += kRow) {
    const Row row = make_row(at, place.range, before.memories[place.memory], after.memories[place.memory]);
    if (row.marks.empty()) continue;
    if (shown++ == rows) break;
    text += indent + address_text(at) + "  before " + row.before + "\n";
    text += indent + "            after  " + row.after + "\n";
    text += indent + "                   " + row.marks + "\n";
  }
  if (at < place.range.end) {
    const std::uint64_t left = place.range.end - std::max(at, place.range.begin);
    text += indent + "            " + counted(left, "more byte", "more bytes") + " of this range\n";
  }
  return text;
}

}  // namespace calseal
