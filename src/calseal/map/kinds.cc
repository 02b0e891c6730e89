#include "calseal/map/kinds.h"

namespace calseal {

std::string_view span_kind_name(SpanKind kind) {
  switch (kind) {
    case SpanKind::kLocked:
      return "locked";
    case SpanKind::kEditable:
      return "editable";
    case SpanKind::kDerived:
      return "derived";
    case SpanKind::kFloating:
      return "floating";
    case SpanKind::kVolatile:
      return "volatile";
    case SpanKind::kBinding:
      return "binding";
  }
  return "locked";
}

std::string_view check_state_name(CheckState state) {
  switch (state) {
    case CheckState::kHolds:
      return "holds";
    case CheckState::kFails:
      return "fails";
    case CheckState::kNotProvable:
      return "not-provable";
  }
  return "fails";
}

}  // namespace calseal
