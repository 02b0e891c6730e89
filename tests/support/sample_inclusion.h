// A ledger of a few lines and proofs out of it, computed by the recursive definition of RFC 9162 section
// 2.1.1 and 2.1.3.1 rather than by the library's way.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/text.h"
#include "calseal/trust/inclusion.h"

namespace calseal {

inline Sha256 plain_hash(std::string text) { return compute_sha256(view_of(text)); }

inline std::string bytes_text(const Sha256& digest) { return {digest.bytes.begin(), digest.bytes.end()}; }

inline std::size_t split_of(std::size_t n) {
  std::size_t k = 1;
  while (k * 2 < n) k *= 2;
  return k;
}

// MTH of the lines [begin, end).
inline Sha256 tree_hash(const std::vector<std::string>& lines, std::size_t begin, std::size_t end) {
  if (begin == end) return plain_hash("");
  if (end - begin == 1) return plain_hash(std::string(1, '\0') + lines[begin]);
  const std::size_t k = split_of(end - begin);
  return plain_hash("\x01" + bytes_text(tree_hash(lines, begin, begin + k)) +
                    bytes_text(tree_hash(lines, begin + k, end)));
}

// PATH of line m among [begin, end).
inline std::vector<Sha256> audit_path(const std::vector<std::string>& lines, std::size_t m, std::size_t begin,
                                      std::size_t end) {
  if (end - begin == 1) return {};
  const std::size_t k = split_of(end - begin);
  std::vector<Sha256> path;
  if (m < begin + k) {
    path = audit_path(lines, m, begin, begin + k);
    path.push_back(tree_hash(lines, begin + k, end));
  } else {
    path = audit_path(lines, m, begin + k, end);
    path.push_back(tree_hash(lines, begin, begin + k));
  }
  return path;
}

inline std::string ledger_line(const Sha256& digest, const Bytes& salt, const std::string& kind = "sealed") {
  return R"({"calseal":"entry/1","kind":")" + kind +
         R"(","claimed_time":"2026-02-03T04:05:06Z","subject":")" +
         digest_text(compute_hmac_sha256(salt, digest.bytes)) + "\"}";
}

// A ledger of `size` lines of which number `index` is about `digest`, and the proof of that.
inline InclusionProof sample_inclusion(const Sha256& digest, std::size_t index = 2, std::size_t size = 5) {
  const Bytes salt(32, 0x77);
  std::vector<std::string> lines;
  for (std::size_t i = 0; i < size; ++i)
    lines.push_back(ledger_line(i == index ? digest : plain_hash("other " + std::to_string(i)), salt));
  InclusionProof proof;
  proof.entry = lines[index];
  proof.salt = salt;
  proof.head = {size, tree_hash(lines, 0, size)};
  proof.index = index;
  proof.path = audit_path(lines, index, 0, size);
  return proof;
}

}  // namespace calseal
