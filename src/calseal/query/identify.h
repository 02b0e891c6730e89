// Which revision a loose file is, or which one is nearest and where it differs.
//
// Compared by the span digests that manifests hold, so no first read is needed; where a span differs, with
// the bytes that the nearest revision carries. Volatile, floating and binding bytes stand aside.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/query/find.h"

namespace calseal {

enum class Likeness : std::uint8_t {
  kOurs,       // as the revision has it
  kChanged,    // a place that the revision carries, with other bytes
  kNotOurs,    // a locked place with other bytes than this software has
  kCannotSay,  // the file does not hold it, or nothing tells
  kAside,      // belongs to the vehicle: volatile, floating, binding
};
std::string_view likeness_name(Likeness likeness);  // "ours", "changed", "not-ours", "cannot-say", "aside"

// A run of one memory with one likeness.
struct LikenessRange {
  std::string memory;
  Range range;
  std::string region;  // name of the region map, or empty
  Likeness likeness = Likeness::kCannotSay;
};

enum class SameVehicle : std::uint8_t { kNotTold, kSame, kOther };
std::string_view same_vehicle_name(SameVehicle vehicle);  // "not-told", "same", "other"

struct IdentifiedRevision {
  FoundRevision revision;
  SameVehicle vehicle = SameVehicle::kNotTold;  // by the salt that stands in the bundle's job folder
  bool as_received = false;                     // revision 0, and the file is one of that read, byte for byte
};

struct Identification {
  Likeness verdict = Likeness::kCannotSay;  // kOurs, kChanged, kNotOurs or kCannotSay
  std::string form;                         // of the file, or empty
  std::string map_name;                     // region map under which it was laid out, or empty
  std::uint64_t at = 0;                     // address of the first byte, where the file was placed as a part
  std::string part_of;                      // memory, where it was; else empty
  std::uint64_t known = 0, pinned = 0;      // pinned bytes of the revision: in the file, and all
  // kOurs: every revision that the file can be. kChanged, kNotOurs: the nearest one.
  std::vector<IdentifiedRevision> revisions;
  std::vector<LikenessRange> ranges;          // of the first of `revisions`, memories in map order, ascending
  std::uint64_t maps_tried = 0, as_near = 1;  // as_near: revisions that are no farther than the one named
};

struct PlaceHint {
  std::string memory;
  std::optional<std::uint64_t> address;  // of the first byte: the file is a part of the memory
};

// `file` in any form: raw, Intel HEX, S-record, declared forms; a raw file of another size is tried as a part
// at the beginning of every region and segment, or where `hint` says. Reasons of read_file().
Result<Identification> identify(const Index& index, const std::string& file, const PlaceHint& hint,
                                const TrustFile* trust);

}  // namespace calseal
