#include "calseal/trust/tree_head.h"

#include "calseal/base/text.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

SignedHead read_fields(JsonObject& object) {
  SignedHead head;
  head.root = read_digest(object, "root");
  head.ledger = read_digest(object, "ledger");
  head.claimed_time = read_time(object, "claimed_time");
  head.tree.size = object.integer("size", 1, kJsonIntegerLimit);
  head.tree.root_hash = read_digest(object, "root_hash");
  return head;
}

Result<SignedHead> parse_text(const Statement& statement, const std::string& name) {
  return parse_canonical_text(statement.signed_bytes, Reason::kTreeHeadInvalid, read_fields,
                              write_tree_head_text, name);
}

}  // namespace

std::string write_tree_head_text(const SignedHead& head) {
  return canonical_json(json_object({{"calseal", json("tree-head/1")},
                                     {"root", json_digest(head.root)},
                                     {"ledger", json_digest(head.ledger)},
                                     {"claimed_time", json(head.claimed_time)},
                                     {"size", json(head.tree.size)},
                                     {"root_hash", json_digest(head.tree.root_hash)}}));
}

Result<SignedHead> read_tree_head(ByteView file, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kTreeHeadLiteral, kTreeHeadSizeLimit, Reason::kTreeHeadInvalid, name));
  return parse_text(statement, name);
}

Result<SignedHead> parse_tree_head(ByteView file, const TrustFile& trust, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kTreeHeadLiteral, kTreeHeadSizeLimit, Reason::kTreeHeadInvalid, name));
  CALSEAL_ASSIGN(const Signers signers, verify_statement(statement, trust, name));
  CALSEAL_ASSIGN(SignedHead head, parse_text(statement, name));
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
