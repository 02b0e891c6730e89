// What one checksum reads from one image, in the order it reads: coverage with tables looked up,
// substitutions and word swaps applied. The message's bytes are never copied as a whole.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "calseal/base/range_set.h"
#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

// Pieces of all checksums of a map together; docs/region-map.md, "Limits".
inline constexpr std::size_t kPieceLimit = 131072;

// One run of the message: bytes of a memory, stated bytes, or one stated byte repeated.
struct MessagePiece {
  enum class Kind : std::uint8_t { kMemory, kLiteral, kRun };
  Kind kind = Kind::kMemory;
  std::uint8_t as = 0;        // kRun
  std::size_t memory = 0;     // kMemory
  std::uint64_t address = 0;  // kMemory: named by the coverage; with a swap the byte read is another one
  std::uint64_t size = 0;     // bytes
  std::uint64_t offset = 0;   // of its first byte in the message
  ByteView literal = {};      // kLiteral: of the region map, which outlives the message
};

class Message {
 public:
  // kDescriptorInvalid when a descriptor table points nowhere (also at bytes that do not exist, or whose swap
  // partner does not) or names more than 4 GiB, and with more than `most_pieces`; kReadIncomplete when its
  // records are unknown.
  static Result<Message> resolve(const RegionMap& map, const Checksum& checksum, const Image& image,
                                 std::size_t most_pieces = kPieceLimit);

  std::uint64_t length() const { return length_; }
  const std::vector<MessagePiece>& pieces() const { return pieces_; }

  // Addresses whose bytes the message takes, one set per memory of the map.
  const std::vector<RangeSet>& reads() const { return reads_; }

  // An address named by the coverage, xor this, is the one that is read: 0, 1 or 3.
  std::uint64_t lane() const { return lane_; }

  bool is_known(const Image& image) const;

  // Calls `take` with the bytes in order; splits anywhere.
  void feed(const Image& image, const std::function<void(ByteView)>& take) const;

  // Every offset of the message at which the byte at `address` stands.
  std::vector<std::uint64_t> offsets_of(std::size_t memory, std::uint64_t address) const;

 private:
  struct Replaced {
    Place place;
    std::uint8_t as = 0;
  };
  using Reads = std::vector<std::vector<Range>>;  // by memory, in the order read
  std::vector<Replaced> replaced_by(const Checksum& checksum) const;
  void push(MessagePiece piece);
  void add_memory(const std::vector<Replaced>& replaced, const Place& place, Reads& reads);
  Status add_table(const RegionMap& map, const Checksum& checksum, const CoverageTable& table,
                   const Image& image, const std::vector<Replaced>& replaced, std::size_t most_pieces,
                   Reads& reads);
  Status keep_to(std::size_t most_pieces, const Checksum& checksum) const;
  std::vector<MessagePiece> pieces_;
  std::uint64_t length_ = 0;
  std::uint64_t lane_ = 0;
  std::vector<RangeSet> reads_;
};

}  // namespace calseal
