#include "calseal/archive/finding.h"

#include <array>
#include <tuple>

namespace calseal {
namespace {

constexpr FindingInfo kTable[] = {
#define CALSEAL_FINDING(enumerator, code, severity, meaning, next) \
  {FindingCode::enumerator, code, Severity::severity, meaning, next},
#include "calseal/archive/findings.inc"
#undef CALSEAL_FINDING
};

auto key_of(const Finding& finding) { return std::tie(finding.path, finding.code, finding.subject); }

}  // namespace

std::string_view severity_name(Severity severity) {
  constexpr std::array<std::string_view, 3> kNames{"error", "warning", "note"};
  return kNames[static_cast<std::size_t>(severity)];
}

std::string_view finding_age_name(FindingAge age) {
  constexpr std::array<std::string_view, 4> kNames{"", "new", "still-there", "gone"};
  return kNames[static_cast<std::size_t>(age)];
}

std::span<const FindingInfo> all_findings() { return kTable; }
const FindingInfo& info(FindingCode code) { return kTable[static_cast<std::size_t>(code)]; }

std::optional<FindingCode> find_finding(std::string_view name) {
  for (const FindingInfo& row : kTable) {
    if (row.name == name) return row.code;
  }
  return std::nullopt;
}

bool comes_before(const Finding& a, const Finding& b) { return key_of(a) < key_of(b); }
bool is_same_finding(const Finding& a, const Finding& b) { return key_of(a) == key_of(b); }

}  // namespace calseal
