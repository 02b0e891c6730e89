#include "calseal/query/withdraw_found.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/sign/withdraw.h"

namespace calseal {

Status refuse_unread(const Index& index) {
  if (index.unread.empty()) return {};
  const UnreadFile& first = index.unread.front();
  const std::string more =
      index.unread.size() == 1 ? "" : ", and " + grouped(index.unread.size() - 1) + " more";
  return fail({Reason::kFileUnreadable, printable(index.folder + "/" + first.path), "", first.reason + more,
               "an archive of which everything can be read",
               "mend it (--dry-run lists all), or leave out what lies there with --despite-unread"});
}

Result<FoundNotices> notices_against_found(const std::string& archive,
                                           const std::vector<FoundRevision>& found,
                                           const WithdrawalList* previous) {
  FoundNotices made;
  for (const FoundRevision& one : found) {
    if (one.revision == 0) {
      ++made.ways_back;
    } else if (previous != nullptr && previous->find(one.identity) != nullptr) {
      ++made.kept;
    } else {
      const std::string path = archive + "/" + one.file;
      CALSEAL_ASSIGN(const Bytes bundle, read_file(path, kBundleSizeLimit));
      CALSEAL_ASSIGN(WithdrawalNotice notice, notice_against(bundle, printable(path)));
      made.notices.push_back(std::move(notice));
    }
  }
  return made;
}

}  // namespace calseal
