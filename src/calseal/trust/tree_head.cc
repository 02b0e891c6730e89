#include "calseal/trust/tree_head.h"

#include "calseal/base/text.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

Result<SignedHead> parse_head_text(const Statement& statement, const std::string& name) {
  return parse_canonical_text(statement.signed_bytes, Reason::kTreeHeadInvalid, signed_head_fields, name);
}

}  // namespace

void signed_head_fields(Fields& field, SignedHead& head) {
  field.kind_of_file("tree-head/1");
  field("root", head.root, kDigest);
  field("ledger", head.ledger, kDigest);
  field("claimed_time", head.claimed_time, kTime);
  tree_head_fields(field, head.tree);
}

std::string write_tree_head_text(const SignedHead& head) { return canonical_text(head, signed_head_fields); }

Result<SignedHead> read_tree_head(ByteView file, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kTreeHeadLiteral, kTreeHeadSizeLimit, Reason::kTreeHeadInvalid, name));
  return parse_head_text(statement, name);
}

Result<SignedHead> parse_tree_head(ByteView file, const TrustFile& trust, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kTreeHeadLiteral, kTreeHeadSizeLimit, Reason::kTreeHeadInvalid, name));
  CALSEAL_ASSIGN(const Signers signers, verify_statement(statement, trust, name));
  CALSEAL_ASSIGN(SignedHead head, parse_head_text(statement, name));
  const KeyId root = compute_key_id(trust.root);
  if (head.root != root) {
    return fail({Reason::kTreeHeadInvalid, name, "/root", digest_text(head.root),
                 "the trust file's root " + digest_text(root),
                 "do not use this head; ask the shop for a new one"});
  }
  CALSEAL_CHECK(judge_statement(signers, Role::kLedger, {}, head.claimed_time, name));
  return head;
}

}  // namespace calseal
