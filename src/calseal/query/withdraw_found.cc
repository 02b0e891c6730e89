#include "calseal/query/withdraw_found.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/sign/withdraw.h"

namespace calseal {

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
