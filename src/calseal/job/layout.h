// Where things stand in a job folder, and how a folder comes to be: whole, or not at all.
//
//   job.json            what the job is; written once
//   events.jsonl        what happened; see event.h
//   job.salt            the job's salt, readable by its owner alone; never leaves with a bundle
//   logs/               drive logs, as they came
//   base-1/             one folder for each base
//     regions.json      the region map that this base was sealed with, byte for byte
//     regions-v4.json   its later versions; the highest is in force
//     read/             the read as received: <memory>.<ext>, or _all.<ext> where a file names its own
//     addresses edited/           what the editor left: r<N>-<memory>.<ext> options/          option files:
//     <name>.json r<N>.calseal      bundles; a revision that was sealed again with its whole image:
//     r<N>-full-<sequence>.calseal
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/file.h"
#include "calseal/base/folder_lock.h"
#include "calseal/base/result.h"
#include "calseal/map/read.h"

namespace calseal {

inline constexpr std::string_view kJobFile = "job.json";
inline constexpr std::string_view kEventsFile = "events.jsonl";
inline constexpr std::string_view kSaltFile = "job.salt";
inline constexpr std::string_view kNoMemory =
    "_all";  // stands for the memory in a read's name where the file names its own
inline constexpr std::string_view kSentOptionEnd =
    ".option.json";  // of an option beside the edit that it came with
inline constexpr std::string_view kLogFolder = "logs";
inline constexpr std::string_view kRegionsFile = "regions.json";
inline constexpr std::uint64_t kJobFileSizeLimit = 65536;  // bytes
inline constexpr std::size_t kFolderNameLimit = 65536;     // names in one folder that we look at

inline constexpr LockedFolder kJobFolder{Reason::kJobBusy, Reason::kFileUnreadable, "a job folder",
                                         "calseal job new makes one"};

// "base-1/regions-v4.json"
std::string mended_map_file(std::uint64_t base, std::uint64_t version);
// The version in such a name; nothing for another name.
std::optional<std::uint64_t> version_of_mended_map(std::uint64_t base, std::string_view file);
std::string base_folder(std::uint64_t base);  // "base-1"
// The number in such a name; nothing for another name.
std::optional<std::uint64_t> base_of_folder(std::string_view name);
// "base-1/r2.calseal"; with a sequence number the name of a bundle with its whole image.
std::string bundle_file(std::uint64_t base, std::uint64_t revision, std::uint64_t full_sequence = 0);
// Gives files that were not named the memory that they were found to be.
void name_memories(const Read& read, std::vector<ReadFile>& files);
// Name of one file of a read in the folder: its memory, or "_all", and the extension that it had. Of several
// that hold more than one memory the second is "_all-2".
std::string read_file_name(const std::vector<ReadFile>& files, std::size_t index);

// Names in a folder, ascending; empty when there is none. kFileUnreadable when not all of them can be read,
// and for more than kFolderNameLimit: what is not seen must not count as absent.
Result<std::vector<std::string>> names_in(const std::string& folder);
bool exists(const std::string& path);

// The files of base-<k>/read or of one revision in base-<k>/edited, each with its memory.
Result<std::vector<ReadFile>> load_kept_read(const std::string& folder, std::uint64_t base);

// One file of a folder that is about to be: a path within it.
struct NewFile {
  std::string path;
  Bytes bytes;
  FileMode mode = FileMode::kPublic;
};

// Makes `folder` with sub-folders and files under a name that nobody sees, and gives it its own name last.
// kOutputExists when the name is taken, kWriteFailed otherwise; nothing is left then.
Status make_folder(const std::string& folder, const std::vector<std::string>& subfolders,
                   const std::vector<NewFile>& files);

}  // namespace calseal
