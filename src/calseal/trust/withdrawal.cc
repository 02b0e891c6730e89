#include "calseal/trust/withdrawal.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 4> kClassNames{"commercial", "error", "replaced", "safety"};

WithdrawalNotice read_notice(const JsonNode& node) {
  JsonObject object(node);
  WithdrawalNotice notice;
  notice.revision = read_digest(object, "revision");
  notice.job = read_name(object, "job");
  notice.controller = read_name(object, "controller");
  notice.kind =
      static_cast<WithdrawalClass>(object.choice("class", {kClassNames.begin(), kClassNames.end()}));
  notice.go_back = object.choice("action", {"do-not-write", "go-back"}) == 1;
  notice.go_to = read_optional_digest(object, "go_to");
  notice.text = read_line(object, "text");
  object.done();
  return notice;
}

WithdrawalList read_fields(JsonObject& object) {
  WithdrawalList list;
  list.root = read_digest(object, "root");
  list.number = object.integer("number", 1, kJsonIntegerLimit);
  list.claimed_time = read_time(object, "claimed_time");
  list.fresh_until = read_time(object, "fresh_until");
  for (const JsonNode& notice : object.items("notices", kNoticeLimit))
    list.notices.push_back(read_notice(notice));
  return list;
}

tl::unexpected<Error> invalid(const std::string& name, std::string place, std::string found,
                              std::string expected) {
  return fail({Reason::kWithdrawalsInvalid, name, std::move(place), std::move(found), std::move(expected),
               "do not use this list; ask the shop for a new one"});
}

Status check_consistency(const WithdrawalList& list, const std::string& name) {
  if (list.fresh_until <= list.claimed_time)
    return invalid(name, "/fresh_until", list.fresh_until, "a time after " + list.claimed_time);
  for (std::size_t i = 0; i < list.notices.size(); ++i) {
    const WithdrawalNotice& notice = list.notices[i];
    const std::string place = "/notices/" + std::to_string(i);
    if (i > 0 && !(list.notices[i - 1].revision < notice.revision)) {
      return invalid(name, place, "a revision out of order or twice", "revisions ascending, each once");
    }
    if (notice.go_to && (!notice.go_back || *notice.go_to == notice.revision)) {
      return invalid(name, place + "/go_to", digest_text(*notice.go_to),
                     "another revision, and only with the action go-back");
    }
  }
  return {};
}

}  // namespace

JsonValue json_notice(const WithdrawalNotice& notice) {
  return json_object({{"revision", json_digest(notice.revision)},
                      {"job", json(notice.job)},
                      {"controller", json(notice.controller)},
                      {"class", json(withdrawal_class_name(notice.kind))},
                      {"action", json(notice.go_back ? "go-back" : "do-not-write")},
                      {"go_to", json_digest(notice.go_to)},
                      {"text", json(notice.text)}});
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
  return canonical_json(json_object({{"calseal", json("withdrawal/1")},
                                     {"root", json_digest(list.root)},
                                     {"number", json(list.number)},
                                     {"claimed_time", json(list.claimed_time)},
                                     {"fresh_until", json(list.fresh_until)},
                                     {"notices", json_array(list.notices, json_notice)}}));
}

Result<WithdrawalList> parse_withdrawals(ByteView file, const TrustFile& trust, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement, read_statement(file, kWithdrawalLiteral, kWithdrawalSizeLimit,
                                                           Reason::kWithdrawalsInvalid, name));
  CALSEAL_ASSIGN(const Signers signers, verify_statement(statement, trust, name));
  CALSEAL_ASSIGN(WithdrawalList list,
                 parse_canonical_text(statement.signed_bytes, Reason::kWithdrawalsInvalid, read_fields,
                                      write_withdrawal_text, name));
  CALSEAL_CHECK(check_consistency(list, name));
  const KeyId root = compute_key_id(trust.root);
  if (list.root != root)
    return invalid(name, "/root", digest_text(list.root), "the trust file's root " + digest_text(root));
  // A list is whole: what it does not name it lets go, in every job.
  CALSEAL_CHECK(judge_statement(signers, Role::kWithdrawal, {}, list.claimed_time, name));
  for (const TrustedKey* key : signers) list.keys.push_back(key->id);
  return list;
}

}  // namespace calseal
