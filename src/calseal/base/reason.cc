#include "calseal/base/reason.h"

#include <array>

namespace calseal {
namespace {

constexpr std::array kReasons = {
#define CALSEAL_REASON(enumerator, code, exit_class, meaning, when) \
  ReasonInfo{Reason::enumerator, #enumerator, code, ExitClass::exit_class, meaning, when},
#include "calseal/base/reasons.inc"
#undef CALSEAL_REASON
};

}  // namespace

std::span<const ReasonInfo> all_reasons() { return kReasons; }

const ReasonInfo& info(Reason reason) { return kReasons.at(static_cast<std::size_t>(reason)); }

int exit_status(Reason reason) {
  if (reason == Reason::kInterrupted) return 130;
  return static_cast<int>(info(reason).exit_class);
}

std::optional<Reason> find_reason(std::string_view code) {
  for (const ReasonInfo& row : kReasons) {
    if (row.code == code) return row.reason;
  }
  return std::nullopt;
}

}  // namespace calseal
