// What a run has seen so far, on disk while it goes on: a record whose files come as they are done, each with
// what tells that it has changed since.
#pragma once

#include <chrono>
#include <string>
#include <unordered_map>
#include <vector>

#include "calseal/archive/record.h"
#include "calseal/archive/survey.h"
#include "calseal/base/result.h"
#include "calseal/ledger/grown_file.h"

namespace calseal {

class AuditJournal {
 public:
  // A new file with these facts in it. kWriteFailed.
  static Result<AuditJournal> begin(const std::string& path, const AuditScope& scope, const Survey& survey,
                                    const std::vector<FileFacts>& known);

  Status note(const std::vector<const SurveyedFile*>& files, const std::vector<FileFacts>& facts);
  // Appends what was noted, synced: once a second, or now.
  Status flush(bool now);

 private:
  explicit AuditJournal(GrownFile file) : file_(std::move(file)) {}
  GrownFile file_;
  std::string waiting_;
  std::chrono::steady_clock::time_point last_ = std::chrono::steady_clock::now();
};

// What a journal says of files.
class SeenFiles {
 public:
  // The facts of all these files, or none: when one of them is not there, or has changed since.
  std::vector<FileFacts> take(const std::vector<const SurveyedFile*>& files);

 private:
  friend Result<SeenFiles> read_journal(const std::string& path, const AuditScope& scope);
  struct Seen {
    FileStatus status;
    FileFacts facts;
  };
  std::unordered_map<std::string, Seen> seen_;
};

// A journal that is not there says nothing. kAuditRecordOther when it is of other folders, depth, trust or
// part; kAuditRecordInvalid.
Result<SeenFiles> read_journal(const std::string& path, const AuditScope& scope);

}  // namespace calseal
