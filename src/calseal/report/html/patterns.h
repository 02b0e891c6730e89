// What kinds of bytes look like in pictures: a pattern each, told apart without colour and in print.
#pragma once

#include <cstdint>
#include <string_view>

#include "calseal/map/kinds.h"
#include "calseal/report/html/markup.h"

namespace calseal {

enum class Fill : std::uint8_t {
  kLocked,
  kEditable,
  kDerived,
  kFloating,
  kVolatile,
  kBinding,
  kUnknown,
  kChanged
};
Fill fill_of(SpanKind kind);

// The patterns' definitions; once in a document.
Html pattern_definitions();

// "url(#fill-locked)"
std::string_view fill_reference(Fill fill);

// A small sample for a legend.
Html pattern_swatch(Fill fill);

}  // namespace calseal
