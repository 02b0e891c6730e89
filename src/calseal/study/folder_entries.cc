#include "calseal/study/folder_entries.h"

#include <algorithm>
#include <system_error>

#include "calseal/base/text.h"

namespace calseal {

namespace fs = std::filesystem;

Result<std::vector<fs::path>> folder_entries(const std::string& folder, const FolderListing& listing) {
  std::error_code fault;
  if (!fs::is_directory(folder, fault)) {
    const bool missing = !fs::exists(folder, fault);
    return fail({missing ? Reason::kFileMissing : Reason::kFileUnreadable, printable(folder), "",
                 missing ? "nothing" : "no folder", listing.what, listing.give});
  }
  std::vector<fs::path> paths;
  fs::directory_iterator entry(folder, fault);
  for (; !fault && entry != fs::directory_iterator(); entry.increment(fault)) {
    if (!listing.extension.empty() && entry->path().extension() != listing.extension) continue;
    paths.push_back(entry->path());
    if (paths.size() > listing.limit) {
      return fail({Reason::kFileTooLarge, printable(folder), "",
                   "more than " + grouped(listing.limit) + " " + listing.entries, listing.what,
                   listing.fewer});
    }
  }
  if (fault) {
    return fail({Reason::kFileUnreadable, printable(folder), "", fault.message(), "a folder that can be read",
                 "check its permissions"});
  }
  std::ranges::sort(paths);
  return paths;
}

}  // namespace calseal
