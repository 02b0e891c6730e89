// Everything below the folders of an archive, looked at once before anything is verified: which files there
// are, of what kind, and which of them a run takes.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/archive/recognise.h"
#include "calseal/archive/walk.h"
#include "calseal/base/boxed.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

struct SurveyedFile {
  // How the archive names it: within the folder; with several folders behind the name of its folder.
  std::string path;
  FileStatus status;
  FileKind kind = FileKind::kUnknown;
  bool readable = true;  // its beginning could be read
  Boxed<BundleHint> hint;

  std::uint64_t size() const { return static_cast<std::uint64_t>(status.size); }
  // What a share is drawn for: bundles of one base in one folder stay together, so that a base is opened
  // once; else the path.
  std::string share_name() const;
};

struct Survey {
  std::vector<std::string> folders;        // as named, without slashes at the end
  std::vector<SurveyedFile> files;         // ascending by path
  std::vector<UnseenPlace> unreadable;     // ascending
  std::vector<std::string> links, others;  // as paths

  std::uint64_t bytes() const;
  // SHA-256 over paths, sizes and kinds: two runs that see the same tree have the same one.
  Sha256 digest() const;
  const SurveyedFile* find(std::string_view path) const;
  // Where the system finds a file of this survey.
  std::string place(const SurveyedFile& file) const;
};

// Reads at most kRecogniseSize bytes of each file. The reasons of list_tree(); kUsage for no folder, or one
// that is named twice or lies in another one.
Result<Survey> survey_archive(std::vector<std::string> folders);

}  // namespace calseal
