// The region map: what a software family's image consists of, who may change which byte, and which values
// inside it the controller's own software verifies. Plain data; one that exists was parsed and linted whole
// (see parse_region_map()).
//
// docs/region-map.md is the format's page; repetitions are already expanded here ("blocks[0]", "blocks[1]",
// ...).
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/base/shared.h"
#include "calseal/digest/crc.h"
#include "calseal/digest/sha256.h"
#include "calseal/digest/sum.h"
#include "calseal/map/quantity.h"

namespace calseal {

inline constexpr std::uint64_t kRegionMapSizeLimit = std::uint64_t{1} << 20;  // bytes of JSON
inline constexpr std::size_t kMapItemLimit = 4096;                            // of any list, after repetition
inline constexpr std::size_t kSectorLimit = 65536;  // erase sectors, all memories together

// A range of addresses in one memory.
struct Place {
  std::size_t memory = 0;  // index into RegionMap::memories
  Range range;
  friend auto operator<=>(const Place&, const Place&) = default;
};

struct MemoryDeclaration {
  std::string name;
  Range extent;  // addresses; inside [0, 2^32)
  std::vector<Range>
      segments;  // the parts that exist, ascending, disjoint; a raw file holds them one after another
  std::uint8_t fill = 0xff;   // value of erased bytes
  bool hole_is_fill = false;  // an address missing from a record file counts as known, with the fill value
};

enum class Policy : std::uint8_t { kLocked, kEditable, kVolatile, kDerived };
inline constexpr std::array<std::string_view, 4> kPolicyNames{"locked", "editable", "volatile", "derived"};
inline std::string_view policy_name(Policy policy) { return kPolicyNames[static_cast<std::size_t>(policy)]; }

struct Region {
  std::string name;
  Place place;
  Policy policy = Policy::kLocked;
  Shared<std::string> note;
};

// Exact bytes that a revision may put into locked bytes, whole or not at all.
struct PermittedPatch {
  std::string name;
  Place place;
  Bytes before;
  Bytes after;
  std::string note;
};

// A marker that says which bank the controller runs from; the region map holds only while it has this value.
struct ActiveBank {
  Place place;
  Bytes equals;
};

enum class CopyTransform : std::uint8_t { kPlain, kComplement, kOffset };

// A place that repeats another: every byte equal, complemented, or larger by a constant (modulo 256).
struct Copy {
  std::string name;
  Place to;  // derived
  Place of;  // as long as `to`
  CopyTransform transform = CopyTransform::kPlain;
  std::uint8_t offset = 0;
  std::optional<ActiveBank> active_bank;
};

enum class AlgorithmKind : std::uint8_t { kCrc, kSum, kFletcher, kAdler32, kSha256 };

struct Algorithm {
  AlgorithmKind kind = AlgorithmKind::kCrc;
  std::string name;   // as written for people: "CRC-32/ISO-HDLC", "sum of 16-bit little-endian words"
  CrcParameters crc;  // kCrc
  SumParameters sum;  // kSum
  int fletcher = 16;  // kFletcher: 16 or 32
  ByteOrder order = ByteOrder::kLittle;  // kFletcher with 16-bit words
};

// Bits of the value that an algorithm gives: 3 to 64, or 256 for SHA-256.
int algorithm_bits(const Algorithm& algorithm);

// A table in the image whose records name ranges. Records lie at table.begin + i * record_size.
struct DescriptorTable {
  enum class End : std::uint8_t {
    kLast,
    kAfter,
    kLength
  };                       // the second value is the last address, one past it, or a length
  std::size_t memory = 0;  // where the table is
  std::uint64_t at = 0;    // address of the first record
  std::uint64_t records = 0;
  std::uint64_t record_size = 0;  // bytes
  ByteOrder order = ByteOrder::kLittle;
  std::uint64_t start_at = 0;  // offset of the 32-bit start in the record
  std::uint64_t end_at = 4;    // offset of the 32-bit end or length in the record
  End end = End::kLast;
  std::size_t points_into = 0;  // memory that the addresses belong to
  bool skip_blank = false;      // a record whose start and end are both ffffffff names nothing
};

// One piece of what a checksum reads, in the order it reads.
struct CoverageRange {
  Place place;
};
struct CoverageLiteral {
  Shared<Bytes> bytes;
};
struct CoverageTable {
  DescriptorTable table;
  std::optional<std::uint64_t> record;  // this record only; nothing: all records in order
};
using Coverage = std::variant<CoverageRange, CoverageLiteral, CoverageTable>;

// Bytes that count as a constant wherever the coverage reaches them.
struct Substitute {
  Place place;
  std::uint8_t as = 0;
};

enum class SlotEncoding : std::uint8_t { kBinary, kHexLower, kHexUpper, kDecimal };
enum class SlotTransform : std::uint8_t { kPlain, kComplement, kNegate, kReverse };

// A place that holds (part of) a checksum's result.
struct Slot {
  Place place;
  ByteOrder order = ByteOrder::kLittle;  // kBinary; digits stand most significant first
  SlotEncoding encoding = SlotEncoding::kBinary;
  SlotTransform transform = SlotTransform::kPlain;  // applied to the part, within `bits`
  int from = 0;   // lowest bit of the result that this slot holds (SHA-256: first byte)
  int bits = 32;  // bits of the result that it holds (SHA-256: 8 * size)
};

enum class Complement : std::uint8_t { kNone, kOnes, kTwos };

// No slot holds the result; instead the value over the whole coverage, balance included, must equal `equals`.
struct Rule {
  std::uint64_t equals = 0;  // compared with the finished result
  std::optional<Place>
      balance;  // set by correction; inside the coverage; nothing: the rule can only be verified
  ByteOrder order = ByteOrder::kLittle;
};

// result = low `bits` of (complement(value of the algorithm over the coverage) + add)
struct Checksum {
  std::string name;
  Shared<std::string> note;
  Algorithm algorithm;
  std::vector<Coverage> coverage;
  std::vector<Substitute> substitutes;
  int swap = 0;  // 0, 16 or 32: the byte read for address a is the one at a xor 1, a xor 3
  Complement complement = Complement::kNone;
  std::uint64_t add = 0;
  int bits = 32;
  std::vector<Slot> slots;                 // either slots ...
  std::optional<Rule> rule;                // ... or a rule
  Shared<std::string> drafted, confirmed;  // lines, or empty
  // Known from bytes alone, and nobody vouches for it: verified, and never written.
  bool is_unconfirmed() const { return !drafted->empty() && confirmed->empty(); }
  // What correction sets.
  std::vector<Place> written_places() const;
};

enum class IdentityKind : std::uint8_t {
  kSoftwareNumber,
  kCalibrationId,
  kVerificationNumber,
  kVin,
  kSerial,
  kHardwareNumber,
  kRevisionMark,
  kOther
};
inline constexpr std::array<std::string_view, 8> kIdentityKindNames{
    "software-number", "calibration-id",  "verification-number", "vin",
    "serial",          "hardware-number", "revision-mark",       "other"};
inline std::string_view identity_kind_name(IdentityKind kind) {
  return kIdentityKindNames[static_cast<std::size_t>(kind)];
}

enum class IdentityEncoding : std::uint8_t { kAscii, kBcd, kIntegerLittle, kIntegerBig, kHex };

struct IdentityField {
  std::string name;
  IdentityKind kind = IdentityKind::kOther;
  Place place;
  IdentityEncoding encoding = IdentityEncoding::kAscii;
  std::string pattern;  // "" accepts anything; see docs/region-map.md
  bool binds = false;   // tells one vehicle from another
};

// A part under a manufacturer's signature: locked, and no correction can mend a change there.
struct SignedPart {
  std::string name;
  std::vector<Place> places;
};

struct Recognition {
  struct Match {
    Place place;
    Bytes bytes;
    Bytes mask;  // as long as `bytes`; ff where the byte counts
  };
  std::vector<Match> all;                     // every one must match
  std::vector<std::string> software_numbers;  // empty: any; else the software number must be one of these
};

struct RegionMap;

// How a file may wrap the image: blocks in file order, header and trailer among them. Offsets and sizes in
// bytes. Or a wrapping that nobody can take off, known by its first bytes.
struct FormDeclaration {
  struct Block {
    enum class Kind : std::uint8_t { kMemory, kConstant, kOpaque } kind = Kind::kMemory;
    Place place;             // kMemory: these bytes of the image
    Bytes constant;          // kConstant: exactly these bytes
    std::uint64_t size = 0;  // kOpaque: any bytes, kept as they came
  };
  std::string name;
  std::string note;
  std::vector<Block> blocks;   // empty for a wrapping that nobody can take off
  std::vector<Place> omitted;  // not in the file; these bytes are known to be `fill`
  std::uint8_t fill = 0xff;
  // The wrapping's own checksums: a map of the file itself, whose one memory "file" begins at 0 and is as
  // long as all blocks; its slots lie in opaque blocks. Nothing when there are none.
  std::shared_ptr<const RegionMap> file;
  Bytes signature;  // without blocks: a file that begins so is encrypted or compressed

  bool is_readable() const { return signature.empty(); }
};

// What a controller's link carries, in bytes per second; for the write plan alone.
struct LinkRates {
  std::uint64_t read = 0;
  std::uint64_t write = 0;
};

enum class ItemKind : std::uint8_t { kScalar, kAxis, kCurve, kTable };
enum class ElementType : std::uint8_t { kU8, kS8, kU16, kS16, kU32, kS32, kF32, kF64 };

// A calibration item: values of one type, row by row without gaps, and what they mean.
struct Item {
  std::string name;
  Shared<std::string> title;  // line, or empty
  ItemKind kind = ItemKind::kScalar;
  Place place;  // all elements
  ElementType type = ElementType::kU8;
  ByteOrder order = ByteOrder::kLittle;
  std::uint64_t columns = 1, rows = 1;  // axis and curve: one row
  Conversion conversion;
  Shared<std::string> unit;            // line, or empty
  std::optional<Decimal> least, most;  // sane limits, physical
  std::optional<std::size_t> x, y;     // index into RegionMap::items: the axes of a curve or table
  Shared<std::string> note;
};

struct Evidence {
  std::string author;
  std::vector<Sha256> verified_on;   // pinned digests of reads under this map
  std::vector<std::string> guesses;  // what is still assumed
  bool verified = false;             // grade "verified", else "draft"
};

struct RegionMap {
  std::string name;  // [a-z0-9][a-z0-9-]*
  std::string title;
  std::string controller;  // "engine", "transmission", ...
  std::uint64_t version = 1;
  std::string note;
  std::vector<MemoryDeclaration> memories;
  Recognition recognition;
  std::vector<FormDeclaration> forms;
  std::vector<Region> regions;  // ascending by memory and address
  std::vector<PermittedPatch> patches;
  std::vector<Copy> copies;
  std::vector<Checksum> checksums;
  std::vector<IdentityField> identity;
  std::vector<SignedPart> signed_parts;
  std::vector<Place> sectors;  // erase sectors, ascending
  std::vector<Item> items;     // calibration items, ascending by memory and address
  std::optional<LinkRates> link;
  std::optional<Sha256> succeeds;  // digest of the map that this one replaces
  Evidence evidence;
  Bytes text;     // the file as read
  Sha256 digest;  // of `text`

  std::size_t memory_index(std::string_view memory) const;  // memories.size() when unknown
  const std::string& grade() const;                         // "draft" or "verified"
};

// Parses and lints a region map; the first fault comes back with its JSON pointer and line.
// Strict JSON, then (in this order) shape, names, ranges, overlaps, policies, checksum arithmetic.
Result<RegionMap> parse_region_map(Bytes text, const std::string& file);

// The policy that decides over a byte, without looking at an image: derived in slots, balance slots and
// copies, else the region's, else locked. Binding fields keep their region's policy here.
Policy policy_at(const RegionMap& map, std::size_t memory, std::uint64_t address);

// "flash 0x80040000-0x8005ffff"
std::string place_text(const RegionMap& map, const Place& place);

}  // namespace calseal
