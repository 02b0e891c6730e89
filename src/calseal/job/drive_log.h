// A drive log, measured: how long, how even, and whose. docs/job.md, Drive logs, says what is done step by
// step.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/file.h"
#include "calseal/base/result.h"
#include "calseal/job/event.h"
#include "calseal/job/job.h"

namespace calseal {

inline constexpr std::uint64_t kLogSizeLimit = std::uint64_t{256} << 20;  // bytes
inline constexpr std::uint64_t kLogRowLimit = std::uint64_t{16} << 20;
inline constexpr std::uint64_t kLogHeaderLimit =
    100;  // lines in which the header must come; common practice, no source
inline constexpr std::uint64_t kGapFactor =
    5;  // a step this many times the median is a gap; common practice, no source

// What the tuner states; by default the log says it itself.
struct LogReading {
  char separator = 0;       // 0: the one that the header has
  std::string time_column;  // header; empty: the first of the usual names
  std::string unit;         // "us", "ms", "s", "min"; empty: as header or units row say

  bool states_something() const { return separator != 0 || !time_column.empty() || !unit.empty(); }
};

struct MeasuredLog {
  LogFacts facts;  // `by` left empty
  // Lines before the header and their parts, the header's texts, and columns that say the same in every row:
  // where a mark can stand.
  std::vector<std::string> constants;
};

// kLogMalformed where it cannot be measured: see CsvReader; no header with a column of time, or several of
// one name; no row; no unit; a time that cannot be read, is written in another way than the first one, or is
// smaller than the one before; a row of another width. Times may repeat. The longest step and all steps above
// kGapFactor times the median are gaps. Linear in the file, which is never held whole; 8 bytes of working
// memory a row.
Result<MeasuredLog> measure_log(const Pieces& pieces, const LogReading& reading, const std::string& name);

// The revisions of all bases that a log's constant texts name, by their revision mark, else by their
// verification number. Texts that several revisions share name none; marks shorter than 4 characters are no
// marks. Letter case, blanks around and a leading 0x do not count.
struct NamedRevision {
  const JobRevision* revision = nullptr;  // lives in the job
  std::string by;                         // "revision-mark" or "verification-number"
};
std::vector<NamedRevision> revisions_named_in(const Job& job, const std::vector<std::string>& constants);

}  // namespace calseal
