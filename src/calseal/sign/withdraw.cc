#include "calseal/sign/withdraw.h"

#include <algorithm>
#include <map>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"

namespace calseal {
namespace {

tl::unexpected<Error> withdraw_usage(std::string name, std::string place, std::string found,
                                     std::string expected, std::string next) {
  return fail({Reason::kUsage, std::move(name), std::move(place), std::move(found), std::move(expected),
               std::move(next)});
}

}  // namespace

Result<WithdrawalNotice> notice_against(ByteView bundle, const std::string& name) {
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(bundle, name));
  CALSEAL_ASSIGN(const Manifest manifest, parse_manifest(prefix.manifest, name));
  if (manifest.revision == 0) {
    return withdraw_usage(name, "revision", "revision 0", "a later revision: the way back stays open",
                          "seal another revision 0 of this base, which supersedes it");
  }
  WithdrawalNotice notice;
  notice.revision = compute_sha256(prefix.manifest);
  notice.job = manifest.job;
  notice.controller = manifest.controller().name;
  return notice;
}

Result<WithdrawalList> next_withdrawals(const std::optional<WithdrawalList>& previous,
                                        const std::vector<WithdrawalNotice>& more, const KeyId& root,
                                        const std::string& claimed_time, const std::string& fresh_until) {
  WithdrawalList list;
  list.root = root;
  list.claimed_time = claimed_time;
  list.fresh_until = fresh_until;
  std::map<Sha256, WithdrawalNotice> notices;
  if (previous) {
    if (claimed_time < previous->claimed_time) {
      return withdraw_usage("", "claimed time", claimed_time, "not before " + previous->claimed_time,
                            "set the clock, or state the right time");
    }
    list.number = previous->number + 1;
    for (const WithdrawalNotice& notice : previous->notices) notices[notice.revision] = notice;
  }
  for (const WithdrawalNotice& notice : more) notices[notice.revision] = notice;
  if (notices.size() > kNoticeLimit) {
    return withdraw_usage("", "notices", std::to_string(notices.size()) + " notices",
                          "at most " + std::to_string(kNoticeLimit),
                          "leave out revisions that nobody can have any more, in a new list without --after");
  }
  for (auto& [revision, notice] : notices) {
    if (notice.go_to && notices.contains(*notice.go_to)) notice.go_to.reset();
    list.notices.push_back(notice);
  }
  return list;
}

Result<std::string> seal_withdrawals(const WithdrawalList& list, const SigningKeys& keys,
                                     const TrustFile& trust) {
  CALSEAL_ASSIGN(std::string file, sign_statement(write_withdrawal_text(list), keys));
  CALSEAL_CHECK(parse_withdrawals(view_of(file), trust, ""));
  return file;
}

}  // namespace calseal
