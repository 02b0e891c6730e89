#include "calseal/trust/inclusion.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/trust/ledger_entry.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::size_t kSaltBytes = 32;

tl::unexpected<Error> inclusion_invalid(const std::string& name, std::string place, std::string found,
                                        std::string expected) {
  return fail({Reason::kInclusionInvalid, name, std::move(place), std::move(found), std::move(expected),
               "ask the shop for the proof of this very revision"});
}

}  // namespace

void inclusion_fields(Fields& field, InclusionProof& proof) {
  field.kind_of_file("inclusion/1");
  field("entry", proof.entry, Text{kLedgerLineLimit});
  field("salt", proof.salt, Hex{kSaltBytes});
  field("head", proof.head, Record{tree_head_fields});
  field("index", proof.index, Integer{});
  field("path", proof.path, List{kDigest, kInclusionPathLimit});
}

void tree_head_fields(Fields& field, TreeHead& head) {
  field("size", head.size, Integer{1});
  field("root_hash", head.root_hash, kDigest);
}

Sha256 merkle_leaf_hash(ByteView leaf) {
  Sha256Hasher hasher;
  const std::uint8_t prefix = 0x00;
  hasher.update({&prefix, 1});
  hasher.update(leaf);
  return hasher.finish();
}

Sha256 merkle_node_hash(const Sha256& left, const Sha256& right) {
  Sha256Hasher hasher;
  const std::uint8_t prefix = 0x01;
  hasher.update({&prefix, 1});
  hasher.update(left.bytes);
  hasher.update(right.bytes);
  return hasher.finish();
}

bool verify_inclusion(const Sha256& leaf_hash, std::uint64_t index, const std::vector<Sha256>& path,
                      const TreeHead& head) {
  if (index >= head.size) return false;
  // The names are those of RFC 9162.
  std::uint64_t fn = index;
  std::uint64_t sn = head.size - 1;
  Sha256 r = leaf_hash;
  for (const Sha256& p : path) {
    if (sn == 0) return false;
    if ((fn & 1U) != 0 || fn == sn) {
      r = merkle_node_hash(p, r);
      while ((fn & 1U) == 0 && fn != 0) {
        fn >>= 1U;
        sn >>= 1U;
      }
    } else {
      r = merkle_node_hash(r, p);
    }
    fn >>= 1U;
    sn >>= 1U;
  }
  return sn == 0 && r == head.root_hash;
}

std::string write_inclusion(const InclusionProof& proof) {
  return canonical_text(proof, inclusion_fields) + "\n";
}

Result<InclusionProof> parse_inclusion(ByteView file, const std::string& name) {
  if (file.size() > kInclusionSizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(file.size()) + " bytes",
                 "at most " + grouped(kInclusionSizeLimit) + " bytes", "check that this is the right file"});
  }
  CALSEAL_CHECK(check_kind(file, kInclusionLiteral, name));
  if (file.back() != '\n') return inclusion_invalid(name, "line 1", "no line end", "one line, ended by LF");
  return parse_canonical_text(file.first(file.size() - 1), Reason::kInclusionInvalid, inclusion_fields, name);
}

Status check_inclusion(const InclusionProof& proof, const Sha256& manifest_digest,
                       const std::vector<TreeHead>& pinned, const std::string& name) {
  const ByteView line = view_of(proof.entry);
  CALSEAL_ASSIGN(const LedgerEntry entry, parse_ledger_entry(line, Reason::kInclusionInvalid, name));
  if (entry.kind != EntryKind::kSealed) {
    return inclusion_invalid(name, "entry", "kind " + std::string(entry_kind_name(entry.kind)),
                             "the entry that says that the revision was sealed");
  }
  const Sha256 subject = compute_hmac_sha256(proof.salt, manifest_digest.bytes);
  if (entry.subject != subject) {
    return inclusion_invalid(name, "entry", "subject " + digest_text(entry.subject),
                             digest_text(subject) + ", which is revision " + digest_text(manifest_digest));
  }
  if (std::find(pinned.begin(), pinned.end(), proof.head) == pinned.end()) {
    return inclusion_invalid(
        name, "head", grouped(proof.head.size) + " entries, " + digest_text(proof.head.root_hash),
        pinned.empty() ? "a head that the trust file pins; it pins none"
                       : "one of the " + std::to_string(pinned.size()) + " heads that the trust file pins");
  }
  if (!verify_inclusion(merkle_leaf_hash(line), proof.index, proof.path, proof.head)) {
    return inclusion_invalid(name, "path", "a path that does not lead from the entry to the head",
                             "the audit path of entry " + grouped(proof.index) + " (RFC 9162 section 2.1.3)");
  }
  return {};
}

}  // namespace calseal
