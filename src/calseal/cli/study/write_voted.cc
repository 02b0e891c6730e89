#include "calseal/cli/study/write_voted.h"

#include "calseal/base/file.h"
#include "calseal/report/layout/page.h"

namespace calseal {

Status write_voted(const std::vector<std::string>& outputs, const RegionMap& map, const Read& form,
                   const Vote& vote) {
  if (outputs.empty()) return {};
  if (!vote.image || any_fails(vote.checks)) {
    return fail({Reason::kChecksumFails, outputs.front(), "", "a vote that is undecided or whose checks fail",
                 "a decided vote whose checks hold", "read again: one more read may decide it"});
  }
  CALSEAL_ASSIGN(const std::vector<Bytes> files, render_read(map, form, *vote.image));
  if (files.size() != outputs.size()) {
    return fail({Reason::kUsage, "", "", counted(outputs.size(), "output", "outputs"),
                 counted(files.size(), "output", "outputs"), "give --output once for each file of a read"});
  }
  std::vector<PendingFile> pending;
  for (std::size_t i = 0; i < files.size(); ++i) pending.push_back({outputs[i], files[i], FileMode::kVehicle});
  return write_files(pending);
}

}  // namespace calseal
