// A drive log, measured: how long, how even, and whose.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/job/event.h"
#include "calseal/job/job.h"

namespace calseal {

inline constexpr std::uint64_t kLogSizeLimit = std::uint64_t{256} << 20;  // bytes
inline constexpr std::uint64_t kLogRowLimit = std::uint64_t{16} << 20;
inline constexpr std::uint64_t kGapFactor =
    5;  // a step this many times the median is a gap; common practice, no source

struct LogReading {
  char separator = ',';
  std::string time_column;  // header; empty: the first that is called time or timestamp
  std::string unit;         // "s" or "ms"; empty: as the header says, "Time (ms)", "time [s]"
};

struct MeasuredLog {
  LogFacts facts;  // `by` left empty
  // Columns that say the same in every row, and the texts of the header: where a mark can stand.
  std::vector<std::string> constants;
};

// kLogMalformed: see CsvReader; no header with two columns, no row, no column of time, or more than one; no
// unit; a time that is no plain decimal number, or smaller than the one before. Times may repeat. The longest
// step and all steps above kGapFactor times the median are gaps. Linear in the file; 8 bytes of memory a row
// besides it.
Result<MeasuredLog> measure_log(std::string_view text, const LogReading& reading, const std::string& name);

// The revisions of all bases that a log's constant texts name, by their revision mark, else by their
// verification number. Texts that several revisions share name none; marks shorter than 4 characters are no
// marks. Letter case, blanks around and a leading 0x do not count.
struct NamedRevision {
  const JobRevision* revision = nullptr;  // lives in the job
  std::string by;                         // "revision-mark" or "verification-number"
};
std::vector<NamedRevision> revisions_named_in(const Job& job, const std::vector<std::string>& constants);

struct AttachRequest {
  Bytes log;
  std::string name;  // of the file, for its name in the folder and in errors
  LogReading reading;
  std::optional<std::uint64_t> base;      // with `revision`; nothing: the current one
  std::optional<std::uint64_t> revision;  // by the tuner's word
  std::string word;                       // how he knows; needed where nothing in the log says so
};

struct AttachedLog {
  Event event;             // as noted
  bool was_there = false;  // the same log of the same revision is attached already; nothing was noted again
};

// Keeps the log under its digest and notes what it is. It counts as a revision's only by what stands in it,
// or by the tuner's word, and it is noted which. kLogRevision when it names another revision than the word,
// or several; kUsage for a revision without a word where the log says nothing, a word without a revision, or
// a revision that is not there. The caller holds the lock.
Result<AttachedLog> attach_log(const Job& job, const AttachRequest& request, UtcTime now);

}  // namespace calseal
