#include "calseal/trust/approval.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

Result<Approval> parse_approval_text(const Statement& statement, const std::string& name) {
  return parse_canonical_text(statement.signed_bytes, Reason::kApprovalInvalid, approval_fields, name);
}

// The trust file with its root among the keys, as one that may approve whatever it likes.
TrustFile with_root(const TrustFile& trust) {
  TrustedKey root;
  root.id = compute_key_id(trust.root);
  root.public_key = trust.root;
  root.name = "the root of " + trust.shop;
  root.roles = {Role::kMapAuthor};
  TrustFile all = trust;
  all.keys.insert(std::ranges::upper_bound(all.keys, root.id, {}, &TrustedKey::id), root);
  return all;
}

// Where a search stands: at a map, by an approval, from an earlier step.
struct Reached {
  Sha256 map;
  const Approval* by = nullptr;
  std::size_t from = 0;
};

}  // namespace

void approval_fields(Fields& field, Approval& approval) {
  field.kind_of_file("approval/1");
  field("controller", approval.controller, kName);
  field("from", approval.from, kDigest);
  field("to", approval.to, kDigest);
  field("claimed_time", approval.claimed_time, kTime);
  field("text", approval.text, kLine);
}

std::string write_approval_text(const Approval& approval) {
  return canonical_text(approval, approval_fields);
}

Result<Approval> parse_approval(ByteView file, const TrustFile& trust, const std::string& name) {
  const TrustFile keys = with_root(trust);
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kApprovalLiteral, kApprovalSizeLimit, Reason::kApprovalInvalid, name));
  CALSEAL_ASSIGN(const Signers signers, verify_statement(statement, keys, name));
  CALSEAL_ASSIGN(Approval approval, parse_approval_text(statement, name));
  if (approval.from == approval.to) {
    return fail({Reason::kApprovalInvalid, name, "/to", digest_text(approval.to),
                 "another region map than the one in \"from\"", "ask the shop for a new approval"});
  }
  CALSEAL_CHECK(
      judge_statement(signers, Role::kMapAuthor, {"", approval.controller}, approval.claimed_time, name));
  for (const TrustedKey* key : signers) approval.signers.push_back(key->name);
  return approval;
}

Result<Approval> read_approval(ByteView file, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kApprovalLiteral, kApprovalSizeLimit, Reason::kApprovalInvalid, name));
  return parse_approval_text(statement, name);
}

Approvals judge_approvals(const std::vector<std::string>& files, std::string_view controller,
                          const TrustFile& trust) {
  Approvals approvals;
  for (std::size_t i = 0; i < files.size(); ++i) {
    const std::string name = "approval " + std::to_string(i + 1);
    Result<Approval> approval = parse_approval(view_of(files[i]), trust, name);
    if (!approval) {
      const Error& error = approval.error();
      approvals.others.push_back(name + " does not count: " + std::string(code(error.reason)) + ", found " +
                                 error.found);
    } else if (approval->controller != controller) {
      approvals.others.push_back(name + " does not count: it is for the controller " + approval->controller);
    } else {
      approvals.counting.push_back(*std::move(approval));
    }
  }
  return approvals;
}

std::optional<std::vector<const Approval*>> approvals_lead(const std::vector<Approval>& counting,
                                                           const Sha256& from, const Sha256& to) {
  std::vector<Reached> reached = {{from}};
  for (std::size_t i = 0; i < reached.size(); ++i) {
    if (reached[i].map == to) {
      std::vector<const Approval*> way;
      for (std::size_t at = i; at != 0; at = reached[at].from) way.insert(way.begin(), reached[at].by);
      return way;
    }
    for (const Approval& approval : counting) {
      if (approval.from != reached[i].map ||
          std::ranges::find(reached, approval.to, &Reached::map) != reached.end())
        continue;
      reached.push_back({approval.to, &approval, i});
    }
  }
  return std::nullopt;
}

}  // namespace calseal
