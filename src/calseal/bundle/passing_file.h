// A bundle's file that passes by in pieces: framing and stored digests proved without holding it whole.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"
#include "calseal/digest/sha256_many.h"

namespace calseal {

class PassingFile {
 public:
  // `framing` is that of `manifest`; all three must outlive this. Memory: one header, the central directory
  // when its turn comes, and the state of a message for each entry.
  PassingFile(const Framing& framing, const Manifest& manifest, std::string name, Sha256Streams& streams);
  PassingFile(const PassingFile&) = delete;
  PassingFile& operator=(const PassingFile&) = delete;
  ~PassingFile();

  // The next bytes, from the first one of the file on; split anywhere. They must stay until the streams are
  // flushed: other files' may be hashed beside them.
  void take(ByteView piece);
  // After the last one: what verify_framing(), then verify_stored_digests() say of the same bytes.
  Status finish();

 private:
  void begin_literal();
  std::size_t take_literal(ByteView piece);
  std::size_t take_content(ByteView piece);
  void end_literal();
  void end_content();
  Status judge_digests();

  const Framing& framing_;
  const Manifest& manifest_;
  std::string name_;
  std::size_t entry_ = 0;  // whose header, then content passes; framing_.entries.size(): the directory
  bool in_literal_ = true;
  bool past_end_ = false;
  std::uint64_t literal_at_ = 0;  // offset of the literal in the file
  Bytes expected_, found_;
  std::uint64_t content_left_ = 0;
  Sha256Streams& streams_;
  std::vector<std::size_t> messages_;   // in `streams_`: of each listed entry whose content has begun
  std::optional<Error> framing_fault_;  // the first
};

// kStoredDigest, in the same words wherever it is found.
tl::unexpected<Error> wrong_stored_digest(const ManifestEntry& entry, const Sha256& found,
                                          const std::string& name);

}  // namespace calseal
