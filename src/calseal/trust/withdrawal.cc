#include "calseal/trust/withdrawal.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 4> kClassNames{"commercial", "error", "replaced", "safety"};

tl::unexpected<Error> withdrawals_invalid(const std::string& name, std::string place, std::string found,
                                          std::string expected) {
  return fail({Reason::kWithdrawalsInvalid, name, std::move(place), std::move(found), std::move(expected),
               "do not use this list; ask the shop for a new one"});
}

Status check_consistency(const WithdrawalList& list, const std::string& name) {
  if (list.fresh_until <= list.claimed_time)
    return withdrawals_invalid(name, "/fresh_until", list.fresh_until, "a time after " + list.claimed_time);
  for (std::size_t i = 0; i < list.notices.size(); ++i) {
    const WithdrawalNotice& notice = list.notices[i];
    const std::string place = "/notices/" + std::to_string(i);
    if (i > 0 && !(list.notices[i - 1].revision < notice.revision)) {
      return withdrawals_invalid(name, place, "a revision out of order or twice",
                                 "revisions ascending, each once");
    }
    if (notice.go_to && (!notice.go_back || *notice.go_to == notice.revision)) {
      return withdrawals_invalid(name, place + "/go_to", digest_text(*notice.go_to),
                                 "another revision, and only with the action go-back");
    }
  }
  return {};
}

}  // namespace

void notice_fields(Fields& field, WithdrawalNotice& notice) {
  field("revision", notice.revision, kDigest);
  field("job", notice.job, kName);
  field("controller", notice.controller, kName);
  field("class", notice.kind, Choice{kClassNames});
  field("action", notice.go_back, Choice{"do-not-write", "go-back"});
  field("go_to", notice.go_to, kMaybeDigest);
  field("text", notice.text, kLine);
}

void withdrawal_fields(Fields& field, WithdrawalList& list) {
  field.kind_of_file("withdrawal/1");
  field("root", list.root, kDigest);
  field("number", list.number, Integer{1});
  field("claimed_time", list.claimed_time, kTime);
  field("fresh_until", list.fresh_until, kTime);
  field("notices", list.notices, List{Record{notice_fields}, kNoticeLimit});
}

std::string_view withdrawal_class_name(WithdrawalClass value) {
  return kClassNames[static_cast<std::size_t>(value)];
}

const WithdrawalNotice* WithdrawalList::find(const Sha256& revision) const {
  const auto it = std::lower_bound(
      notices.begin(), notices.end(), revision,
      [](const WithdrawalNotice& notice, const Sha256& wanted) { return notice.revision < wanted; });
  return it == notices.end() || it->revision != revision ? nullptr : &*it;
}

std::string write_withdrawal_text(const WithdrawalList& list) {
  return canonical_text(list, withdrawal_fields);
}

Result<WithdrawalList> parse_withdrawals(ByteView file, const TrustFile& trust, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement, read_statement(file, kWithdrawalLiteral, kWithdrawalSizeLimit,
                                                           Reason::kWithdrawalsInvalid, name));
  CALSEAL_ASSIGN(const Signers signers, verify_statement(statement, trust, name));
  CALSEAL_ASSIGN(
      WithdrawalList list,
      parse_canonical_text(statement.signed_bytes, Reason::kWithdrawalsInvalid, withdrawal_fields, name));
  CALSEAL_CHECK(check_consistency(list, name));
  const KeyId root = compute_key_id(trust.root);
  if (list.root != root)
    return withdrawals_invalid(name, "/root", digest_text(list.root),
                               "the trust file's root " + digest_text(root));
  // A list is whole: what it does not name it lets go, in every job.
  CALSEAL_CHECK(judge_statement(signers, Role::kWithdrawal, {}, list.claimed_time, name));
  for (const TrustedKey* key : signers) list.keys.push_back(key->id);
  return list;
}

}  // namespace calseal
