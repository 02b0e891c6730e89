// A region map while it is being read and judged: its values, and where in the text each of them stands.
//
// Internal to the parser. Faults are kept by phase, because reading meets them in another order than the one
// in which docs/region-map.md promises to report them.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <initializer_list>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_set>
#include <utility>
#include <vector>

#include "calseal/base/json_reader.h"
#include "calseal/base/range_set.h"
#include "calseal/map/region_map.h"

namespace calseal::region_map_draft {

// Limits that docs/region-map.md lists beside kMapItemLimit and kSectorLimit.
inline constexpr std::size_t kMemoryCountLimit = 16;
inline constexpr std::size_t kChecksumPlaceLimit = 65536;  // all checksums together, after repetition
inline constexpr std::uint64_t kChecksumReadLimit = std::uint64_t{1}
                                                    << 32;  // bytes read by all checksums together
inline constexpr std::size_t kLiteralLimit = 256;           // bytes
inline constexpr std::size_t kBytesLimit = 65536;           // of patches, constants, recognised bytes
inline constexpr std::size_t kSlotSizeLimit = 32;
inline constexpr std::size_t kBalanceSizeLimit = 8;
inline constexpr std::size_t kFieldSizeLimit = 256;
inline constexpr std::size_t kMarkerSizeLimit = 32;
inline constexpr std::size_t kPatternLimit = 256;
inline constexpr std::size_t kSignatureLimit = 64;
inline constexpr std::uint64_t kLinkRateLimit = 100000000;  // bytes per second

// In the order in which they decide.
enum class Phase : std::uint8_t { kShape, kNames, kRanges, kOverlaps, kPolicies, kChecksums };

// Where a value stands; points into Draft.
using Where = const JsonNode*;

// A declared checksum's places in the text; one for all that its repetition stands for.
struct ChecksumOrigin {
  Where whole = nullptr;
  std::vector<Where> coverage;
  std::vector<Where> substitutes;
  std::vector<Where> slots;
  Where balance = nullptr;
};

class Draft {
 public:
  Draft(std::string_view written, const std::string& name)
      : text(written), file(name), documents_(kPhases, JsonDocument(written, name)) {}
  Draft(const Draft&) = delete;
  Draft& operator=(const Draft&) = delete;

  // Keeps the first fault of each phase.
  void refuse(Phase phase, Reason reason, const JsonNode& where, std::string found, std::string expected,
              std::string next) {
    JsonDocument& document = documents_[static_cast<std::size_t>(phase)];
    if (!document.ok()) return;
    document.refuse(reason, where.pointer(), where.offset(), std::move(found), std::move(expected),
                    std::move(next));
  }
  // The fault of the earliest phase that has one.
  std::optional<Error> fault() const {
    for (const JsonDocument& document : documents_) {
      if (!document.ok()) return document.error();
    }
    return std::nullopt;
  }
  // Takes over faults of a part that was read as a draft of its own.
  void adopt(const Draft& part) {
    for (std::size_t i = 0; i < kPhases; ++i) {
      if (documents_[i].ok() && !part.documents_[i].ok()) documents_[i] = part.documents_[i];
    }
  }
  // Faults of shape come from JsonNode itself, which reports here.
  JsonDocument& shape() { return documents_.front(); }

  Where keep(const JsonNode& node) { return &nodes_.emplace_back(node); }

  RegionMap map;
  std::vector<RangeSet> exists;  // by memory: the addresses of its segments
  Where software_numbers = nullptr;
  std::vector<std::vector<Where>> form_blocks, form_omitted;  // by form and block or omitted range
  std::vector<std::unique_ptr<Draft>> form_files;             // by form: its own checksums, or nothing
  std::vector<Where> regions, patches, copies, identity, sectors, items;
  std::vector<std::vector<Where>> signed_places;
  std::deque<ChecksumOrigin> origins;
  std::vector<const ChecksumOrigin*> checksums;  // by checksum
  std::size_t checksum_places = 0;               // those of forms count too
  std::uint64_t checksum_bytes = 0;              // bytes that checksums read, likewise
  std::string_view text;
  std::string file;

 private:
  static constexpr std::size_t kPhases = 6;
  std::vector<JsonDocument> documents_;
  std::deque<JsonNode> nodes_;
};

// The names of one list, to see one that comes again.
class NameList {
 public:
  // Reads the object's "name".
  std::string read(Draft& draft, JsonObject& object);

 private:
  std::unordered_set<std::string> taken_;
};

// The pieces that every section is made of. Each gives a harmless default after noting a fault.
std::string read_name(const JsonNode& node);
std::string read_line(const JsonNode& node);  // text without control characters, not empty
std::string read_note(JsonObject& object);    // optional "note"
std::size_t read_memory(Draft& draft, JsonObject& object, std::string_view key = "memory");
ByteOrder read_order(JsonObject& object, bool required);  // optional: little
std::uint64_t read_size(JsonObject& object);              // "size"; zero is a fault of range
// Bytes of which at least one and at most `most` must be given.
Bytes read_bytes(JsonObject& object, std::string_view key, std::size_t most);

// `count` ranges of `size` bytes, `stride` apart, the first at `begin`: inside the memory and its segments,
// every one. Gives the first; empty after a fault.
Range read_range(Draft& draft, const JsonNode& where, std::size_t memory, std::uint64_t begin,
                 std::uint64_t size, std::uint64_t count = 1, std::uint64_t stride = 0);
// "memory", `start` and a size given or read from "size".
Place read_place(Draft& draft, JsonObject& object, std::string_view start = "start",
                 std::optional<std::uint64_t> size = std::nullopt);
// The same range `index` strides later.
inline Place shifted(Place place, std::uint64_t stride, std::uint64_t index) {
  place.range.begin += stride * index;
  place.range.end += stride * index;
  return place;
}

// A whole number that must be one of a few.
int read_width(const JsonNode& node, std::initializer_list<std::uint64_t> allowed);
// The algorithm of a checksum. Its parameters are valid whatever the text says; the placeholder stands in
// after a fault.
Algorithm read_algorithm(Draft& draft, const JsonNode& node);
Algorithm placeholder_algorithm();

// Sections of the file, in the order in which they are read.
void read_memories(Draft& draft, JsonObject& top);
void read_recognition(Draft& draft, JsonObject& top);
void read_forms(Draft& draft, JsonObject& top);
void read_regions(Draft& draft, JsonObject& top);
void read_patches(Draft& draft, JsonObject& top);
void read_copies(Draft& draft, JsonObject& top);
void read_checksums(Draft& draft, JsonObject& top);
void read_identity(Draft& draft, JsonObject& top);
void read_signed_parts(Draft& draft, JsonObject& top);
void read_sectors(Draft& draft, JsonObject& top);
void read_items(Draft& draft, JsonObject& top);
void read_link(Draft& draft, JsonObject& top);
void read_evidence(Draft& draft, JsonObject& top);

// The one reference between sections; part of the phase of names.
void check_software_numbers(Draft& draft);

// Judgements over a map that was read whole without a fault.
void lint_overlaps(Draft& draft);
void lint_policies(Draft& draft);
void lint_checksums(Draft& draft);
// The same judgement over the own checksums of every form, and whether their slots lie in opaque blocks.
void lint_form_files(Draft& draft, void (*lint)(Draft&));
// Gives the forms their own checksums, once there is no fault.
void take_form_files(Draft& draft);

}  // namespace calseal::region_map_draft
