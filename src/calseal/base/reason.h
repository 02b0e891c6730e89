// The closed set of reasons for every refusal, finding and failure of calseal.
//
// One row per reason stands in reasons.inc; text, JSON, docs/reasons.md and the test that every reason is
// reached all come from that table.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

namespace calseal {

enum class Reason : std::uint8_t {
#define CALSEAL_REASON(enumerator, code, exit_class, meaning, when) enumerator,
#include "calseal/base/reasons.inc"
#undef CALSEAL_REASON
};

// What a script may conclude from the exit status alone.
enum class ExitClass : std::uint8_t {
  kDomain = 1,    // refused, findings, or malformed input of our domain
  kUsage = 2,     // wrong usage
  kIo = 3,        // could not read or write
  kInternal = 4,  // our own fault
};

struct ReasonInfo {
  Reason reason;
  std::string_view enumerator;
  std::string_view code;  // stable, lower-case with hyphens
  ExitClass exit_class;
  std::string_view meaning;
  std::string_view when;  // when to choose it over its neighbour
};

// All reasons in table order.
std::span<const ReasonInfo> all_reasons();

const ReasonInfo& info(Reason reason);

inline std::string_view code(Reason reason) { return info(reason).code; }

// Process exit status for a run that ends with `reason`; 130 for kInterrupted.
int exit_status(Reason reason);

std::optional<Reason> find_reason(std::string_view code);

}  // namespace calseal
