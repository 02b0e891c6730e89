// A bundle's file that passes by in pieces: framing and stored digests proved without holding it whole.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class PassingFile {
 public:
  // `framing` is that of `manifest`; both must outlive this. Memory: one header, and the central directory
  // when its turn comes.
  PassingFile(const Framing& framing, const Manifest& manifest, std::string name);

  // The next bytes, from the first one of the file on; split anywhere.
  void take(ByteView piece);
  // After the last one: what verify_framing(), then verify_stored_digests() say of the same bytes.
  Status finish();

 private:
  void begin_literal();
  std::size_t take_literal(ByteView piece);
  std::size_t take_content(ByteView piece);
  void end_literal();
  void end_content();

  const Framing& framing_;
  const Manifest& manifest_;
  std::string name_;
  std::size_t entry_ = 0;  // whose header, then content passes; framing_.entries.size(): the directory
  bool in_literal_ = true;
  bool past_end_ = false;
  std::uint64_t literal_at_ = 0;  // offset of the literal in the file
  Bytes expected_, found_;
  std::uint64_t content_left_ = 0;
  Sha256Hasher hasher_;
  std::optional<Error> framing_fault_, digest_fault_;  // the first of each
};

// kStoredDigest, in the same words wherever it is found.
tl::unexpected<Error> wrong_stored_digest(const ManifestEntry& entry, const Sha256& found,
                                          const std::string& name);

}  // namespace calseal
