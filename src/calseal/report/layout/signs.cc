#include "calseal/report/layout/signs.h"

namespace calseal {

std::string_view kind_sign(const Page& page, SpanKind kind) {
  switch (kind) {
    case SpanKind::kLocked:
      return page.utf8 ? "\u2588" : "#";
    case SpanKind::kEditable:
      return page.utf8 ? "\u2581" : "_";
    case SpanKind::kDerived:
      return "=";
    case SpanKind::kFloating:
      return page.utf8 ? "\u2248" : "^";
    case SpanKind::kVolatile:
      return "~";
    case SpanKind::kBinding:
      return "@";
  }
  return "#";
}

std::string_view policy_sign(const Page& page, Policy policy) {
  switch (policy) {
    case Policy::kLocked:
      return kind_sign(page, SpanKind::kLocked);
    case Policy::kEditable:
      return kind_sign(page, SpanKind::kEditable);
    case Policy::kVolatile:
      return kind_sign(page, SpanKind::kVolatile);
    case Policy::kDerived:
      return kind_sign(page, SpanKind::kDerived);
  }
  return kind_sign(page, SpanKind::kLocked);
}

std::string_view unknown_sign(const Page& page) { return page.utf8 ? "\u00b7" : "."; }

std::string_view change_sign(const Page& page) { return page.utf8 ? "\u25be" : "v"; }

std::string_view state_sign(CheckState state) {
  switch (state) {
    case CheckState::kHolds:
      return "+";
    case CheckState::kFails:
      return "!";
    case CheckState::kNotProvable:
      return "?";
  }
  return "!";
}

Mark state_mark(CheckState state) {
  switch (state) {
    case CheckState::kHolds:
      return Mark::kGood;
    case CheckState::kFails:
      return Mark::kBad;
    case CheckState::kNotProvable:
      return Mark::kCaution;
  }
  return Mark::kBad;
}

std::string state_text(CheckState state) {
  if (state == CheckState::kNotProvable) return "? not provable";
  return std::string(state_sign(state)) + " " + std::string(check_state_name(state));
}

}  // namespace calseal
