#include "calseal/trust/consistency.h"

#include "calseal/base/text.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

tl::unexpected<Error> consistency_invalid(const std::string& name, std::string place, std::string found,
                                          std::string expected) {
  return fail({Reason::kConsistencyInvalid, name, std::move(place), std::move(found), std::move(expected),
               "ask the shop for the proof between these very heads, and keep both"});
}

std::string head_words(const TreeHead& head) {
  return grouped(head.size) + " entries, " + digest_text(head.root_hash);
}

}  // namespace

void consistency_fields(Fields& field, ConsistencyProof& proof) {
  field.kind_of_file("consistency/1");
  field("first", proof.first, Record{tree_head_fields});
  field("second", proof.second, Record{tree_head_fields});
  field("path", proof.path, List{kDigest, kConsistencyPathLimit});
}

bool verify_consistency(const TreeHead& first, const TreeHead& second, const std::vector<Sha256>& path) {
  if (first.size > second.size) return false;
  if (first.size == second.size) return path.empty() && first.root_hash == second.root_hash;
  if (first.size == 0) return path.empty() && first.root_hash == compute_sha256({});
  if (path.empty()) return false;
  // The names are those of RFC 9162. Where `first` is a whole power of two its own hash leads the path.
  std::size_t next = 0;
  std::uint64_t fn = first.size - 1;
  std::uint64_t sn = second.size - 1;
  const bool whole = (first.size & (first.size - 1)) == 0;
  Sha256 fr = whole ? first.root_hash : path[next++];
  Sha256 sr = fr;
  while ((fn & 1U) != 0) {
    fn >>= 1U;
    sn >>= 1U;
  }
  for (; next < path.size(); ++next) {
    const Sha256& c = path[next];
    if (sn == 0) return false;
    if ((fn & 1U) != 0 || fn == sn) {
      fr = merkle_node_hash(c, fr);
      sr = merkle_node_hash(c, sr);
      while ((fn & 1U) == 0 && fn != 0) {
        fn >>= 1U;
        sn >>= 1U;
      }
    } else {
      sr = merkle_node_hash(sr, c);
    }
    fn >>= 1U;
    sn >>= 1U;
  }
  return sn == 0 && fr == first.root_hash && sr == second.root_hash;
}

std::string write_consistency(const ConsistencyProof& proof) {
  return canonical_text(proof, consistency_fields) + "\n";
}

Result<ConsistencyProof> parse_consistency(ByteView file, const std::string& name) {
  if (file.size() > kConsistencySizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(file.size()) + " bytes",
                 "at most " + grouped(kConsistencySizeLimit) + " bytes",
                 "check that this is the right file"});
  }
  CALSEAL_CHECK(check_kind(file, kConsistencyLiteral, name));
  if (file.back() != '\n') return consistency_invalid(name, "line 1", "no line end", "one line, ended by LF");
  return parse_canonical_text(file.first(file.size() - 1), Reason::kConsistencyInvalid, consistency_fields,
                              name);
}

Status check_consistency_proof(const ConsistencyProof& proof, const TreeHead& first, const TreeHead& second,
                               const std::string& name) {
  if (proof.first != first)
    return consistency_invalid(name, "first", head_words(proof.first), head_words(first));
  if (proof.second != second)
    return consistency_invalid(name, "second", head_words(proof.second), head_words(second));
  if (!verify_consistency(first, second, proof.path)) {
    return consistency_invalid(
        name, "path", "hashes that do not lead from the first head to the second",
        "the consistency proof of RFC 9162 section 2.1.4; without one the ledger was rewritten");
  }
  return {};
}

}  // namespace calseal
