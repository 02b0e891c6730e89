#include "calseal/trust/consistency.h"

#include "calseal/base/text.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

tl::unexpected<Error> invalid(const std::string& name, std::string place, std::string found,
                              std::string expected) {
  return fail({Reason::kConsistencyInvalid, name, std::move(place), std::move(found), std::move(expected),
               "ask the shop for the proof between these very heads, and keep both"});
}

JsonValue json_head(const TreeHead& head) {
  return json_object({{"size", json(head.size)}, {"root_hash", json_digest(head.root_hash)}});
}

TreeHead read_head(JsonObject& object, std::string_view key) {
  TreeHead head;
  if (const auto node = object.required(key)) {
    JsonObject inner(*node);
    head.size = inner.integer("size", 1, kJsonIntegerLimit);
    head.root_hash = read_digest(inner, "root_hash");
    inner.done();
  }
  return head;
}

std::string write_text(const ConsistencyProof& proof) {
  return canonical_json(
      json_object({{"calseal", json("consistency/1")},
                   {"first", json_head(proof.first)},
                   {"second", json_head(proof.second)},
                   {"path", json_array(proof.path, [](const Sha256& hash) { return json_digest(hash); })}}));
}

ConsistencyProof read_fields(JsonObject& object) {
  ConsistencyProof proof;
  proof.first = read_head(object, "first");
  proof.second = read_head(object, "second");
  for (const JsonNode& hash : object.items("path", kConsistencyPathLimit))
    proof.path.push_back(read_digest(hash));
  return proof;
}

std::string head_words(const TreeHead& head) {
  return grouped(head.size) + " entries, " + digest_text(head.root_hash);
}

}  // namespace

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

std::string write_consistency(const ConsistencyProof& proof) { return write_text(proof) + "\n"; }

Result<ConsistencyProof> parse_consistency(ByteView file, const std::string& name) {
  if (file.size() > kConsistencySizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(file.size()) + " bytes",
                 "at most " + grouped(kConsistencySizeLimit) + " bytes",
                 "check that this is the right file"});
  }
  CALSEAL_CHECK(check_kind(file, kConsistencyLiteral, name));
  if (file.back() != '\n') return invalid(name, "line 1", "no line end", "one line, ended by LF");
  return parse_canonical_text(file.first(file.size() - 1), Reason::kConsistencyInvalid, read_fields,
                              write_text, name);
}

Status check_consistency_proof(const ConsistencyProof& proof, const TreeHead& first, const TreeHead& second,
                               const std::string& name) {
  if (proof.first != first) return invalid(name, "first", head_words(proof.first), head_words(first));
  if (proof.second != second) return invalid(name, "second", head_words(proof.second), head_words(second));
  if (!verify_consistency(first, second, proof.path)) {
    return invalid(name, "path", "hashes that do not lead from the first head to the second",
                   "the consistency proof of RFC 9162 section 2.1.4; without one the ledger was rewritten");
  }
  return {};
}

}  // namespace calseal
