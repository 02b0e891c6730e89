// A drive log comes into a job: kept under its digest, and noted for what it is.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "calseal/base/utc_time.h"
#include "calseal/job/drive_log.h"

namespace calseal {

struct AttachRequest {
  std::string path;
  std::string name;                 // the path, printable
  std::optional<ByteView> content;  // the log itself, where it is no file of its own; `path` is then its name
  LogReading reading;
  std::optional<std::uint64_t> base;      // with `revision`; nothing: the current one
  std::optional<std::uint64_t> revision;  // by the tuner's word
  std::string word;                       // how he knows; needed where nothing in the log says so
  std::function<void(std::uint64_t bytes)>
      read;  // called now and then with the bytes read so far; may be empty
};

struct AttachedLog {
  Event event;             // as noted
  bool was_there = false;  // the same log of the same revision is attached already; nothing was noted again
};

// Keeps the log under its digest and notes what it is. What cannot be measured is kept too, and the note says
// why, unless the request states how to read it: then it is refused (kLogMalformed). It counts as a
// revision's only by what stands in it, or by the tuner's word, and it is noted which. kLogRevision when it
// names another revision than the word, or several; kUsage for a revision without a word where the log says
// nothing, a word without a revision, or a revision that is not there. A file is read twice and never held
// whole; kFileUnreadable when it changes meanwhile. The caller holds the lock.
Result<AttachedLog> attach_log(const Job& job, const AttachRequest& request, UtcTime now);

}  // namespace calseal
