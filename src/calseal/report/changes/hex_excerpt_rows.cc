#include "calseal/report/changes/hex_excerpt_rows.h"

#include <algorithm>

#include "calseal/base/range_set.h"
#include "calseal/base/text.h"
#include "calseal/report/layout/page.h"

namespace calseal {
namespace {

constexpr std::uint64_t kRow = 16;

struct Row {
  std::string before, after, marks;
};

// One row of the memory; bytes outside it or unknown show as "--". Only differences inside `marked` are
// marked: the row may hold those of its neighbours too.
Row make_row(std::uint64_t begin, const RangeSet& marked, const Memory& before, const Memory& after) {
  Row row;
  for (std::uint64_t at = begin; at < begin + kRow; ++at) {
    const auto digits = [&](const Memory& memory) {
      return memory.known.contains(at) ? to_hex(memory.view({at, at + 1})) : std::string("--");
    };
    const std::string from = digits(before);
    const std::string to = digits(after);
    row.before += " " + from;
    row.after += " " + to;
    row.marks += from == to || !marked.contains(at) ? "   " : " ^^";
  }
  row.marks.erase(row.marks.find_last_not_of(' ') + 1);
  return row;
}

// Rows with differences in `marked`, which is not empty.
std::string rows_text(std::size_t memory, const RangeSet& marked, const Image& before, const Image& after,
                      std::size_t rows) {
  const std::string indent(6, ' ');
  const Range whole{marked.ranges().front().begin, marked.ranges().back().end};
  std::string text;
  std::uint64_t at = whole.begin - whole.begin % kRow;
  for (std::size_t shown = 0; at < whole.end; at += kRow) {
    const Row row = make_row(at, marked, before.memories[memory], after.memories[memory]);
    if (row.marks.empty()) continue;
    if (shown++ == rows) break;
    text += indent + address_text(at) + "  before " + row.before + "\n";
    text += indent + "            after  " + row.after + "\n";
    text += indent + "                   " + row.marks + "\n";
  }
  if (at < whole.end) {
    const std::uint64_t left = whole.end - std::max(at, whole.begin);
    text += indent + "            " + counted(left, "more byte", "more bytes") + " of this range\n";
  }
  return text;
}

}  // namespace

std::string hex_excerpt_rows(const std::vector<ExcerptRange>& ranges, const Image& before,
                             const Image& after) {
  constexpr std::size_t kRowsOfOne = 4;
  std::string text;
  for (std::size_t first = 0; first < ranges.size();) {
    const std::size_t memory = ranges[first].place.memory;
    RangeSet block;
    std::size_t next = first;
    do {
      block.add(ranges[next].place.range);
      text += ranges[next].line;
      ++next;
    } while (next < ranges.size() && ranges[next].place.memory == memory &&
             ranges[next].place.range.begin / kRow == (block.ranges().back().end - 1) / kRow);
    text += rows_text(memory, block, before, after, kRowsOfOne * (next - first));
    first = next;
  }
  return text;
}

}  // namespace calseal
