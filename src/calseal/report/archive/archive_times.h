// When an archive's revisions were sealed, who says so, and where in time its findings lie.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "calseal/archive/judge.h"

namespace calseal {

struct ArchiveMonth {
  std::uint64_t year = 1970, month = 1;          // of the claimed time, UTC; month 1..12
  std::uint64_t witnessed = 0, unwitnessed = 0;  // revisions; by a head, a pin or a token, or by nobody
  std::uint64_t errors = 0, warnings = 0;        // findings about revisions of this month
};

// How long after its claimed time a revision was witnessed first.
enum class WitnessLag : std::uint8_t { kBefore, kDay, kWeek, kMonth, kLater };
inline constexpr std::size_t kWitnessLags = 5;

struct ArchiveTimes {
  std::vector<ArchiveMonth> months;  // ascending; only those in which something is
  std::uint64_t revisions = 0;
  std::array<std::uint64_t, 4> by_witness{};         // by Witness
  std::array<std::uint64_t, kWitnessLags> by_lag{};  // of those that are witnessed
  std::uint64_t undated = 0;                         // errors and warnings that are about no revision
  std::string newest;                                // the newest claimed time of a revision; empty: none
};

// Revisions are those that a ledger of the archive or a bundle in it names, each once. Findings that are gone
// or healed, and notes, are left out.
ArchiveTimes archive_times(const AuditRecord& record, const Judgement& judgement);

}  // namespace calseal
