// A memory as one line of signs, widths to scale.
#pragma once

#include <array>
#include <string>

#include "calseal/base/range_set.h"
#include "calseal/map/kinds.h"
#include "calseal/report/layout/page.h"

namespace calseal {

inline constexpr std::array kStripKinds = {SpanKind::kLocked,   SpanKind::kEditable, SpanKind::kDerived,
                                           SpanKind::kFloating, SpanKind::kVolatile, SpanKind::kBinding};

// What a strip shows: sets that tile the memory, and where something changed.
struct StripView {
  std::string name;  // printable
  Range extent;
  std::array<RangeSet, kStripKinds.size()> kinds;  // known bytes, in the order of kStripKinds
  RangeSet unknown, absent;
  RangeSet changed;
};

// Name, extent and scale; where something changed, a line of marks; then the signs. Each sign stands for an
// equal share of the memory and shows the largest kind in it that is not locked, if that is at least a
// sixteenth of the share; else locked, unknown or no memory, whichever is most. Small places may not show, so
// the strip never stands in for the table; a change always does.
std::string strip_text(const StripView& view, const Page& page);

// What the signs mean, as one line, or more where it is narrow; with `marks` what the marks above them are
// too.
enum class StripMarks : std::uint8_t { kNone, kChanges };
std::string strip_legend(const Page& page, StripMarks marks = StripMarks::kNone);

}  // namespace calseal
