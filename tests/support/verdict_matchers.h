// Matchers for verdicts.
#pragma once

#include <algorithm>
#include <string_view>

#include "calseal/check/verdict.h"
#include "support/matchers.h"

namespace calseal {

inline void PrintTo(const Verdict& verdict, std::ostream* out) {
  *out << outcome_name(verdict.outcome);
  if (verdict.reason) {
    *out << ": ";
    PrintTo(*verdict.reason, out);
  }
}

inline bool has_caution(const Verdict& verdict, std::string_view code) {
  return std::ranges::any_of(verdict.cautions, [&](const Caution& caution) { return caution.code == code; });
}

MATCHER(IsAccepted, "is accepted") {
  if (arg.reason && result_listener->IsInterested()) PrintTo(*arg.reason, result_listener->stream());
  return arg.outcome == Outcome::kAccepted && !arg.reason && !arg.files.empty();
}

// Refused with this reason, with every text that a person needs, and with nothing to write.
MATCHER_P(IsRefused, reason, std::string("is refused with ") + std::string(code(reason))) {
  if (arg.reason && result_listener->IsInterested()) PrintTo(*arg.reason, result_listener->stream());
  return arg.outcome == Outcome::kRefused && arg.reason && arg.reason->reason == reason &&
         !arg.reason->file.empty() && !arg.reason->found.empty() && !arg.reason->expected.empty() &&
         !arg.reason->next.empty() && arg.files.empty();
}

// As IsRefused, and the place contains `where`.
MATCHER_P2(IsRefusedAt, reason, where,
           std::string("is refused with ") + std::string(code(reason)) + " at " + where) {
  if (arg.reason && result_listener->IsInterested()) PrintTo(*arg.reason, result_listener->stream());
  return arg.outcome == Outcome::kRefused && arg.reason && arg.reason->reason == reason &&
         arg.files.empty() && arg.reason->place.find(where) != std::string::npos;
}

}  // namespace calseal
