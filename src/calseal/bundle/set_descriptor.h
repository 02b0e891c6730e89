// set.json: which revisions of several controllers are only valid together. Every member's bundle holds the
// same bytes; the SHA-256 of them is the set's identity. docs/bundle-format.md.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kSetName = "set.json";
inline constexpr std::string_view kSetLiteral = R"({"calseal":"set/1",)";
inline constexpr std::size_t kSetMemberLimit = 16;
inline constexpr std::uint64_t kSetSizeLimit = 65536;  // bytes

struct SetMember {
  std::string controller;
  std::uint64_t base = 1;      // base number
  std::uint64_t sequence = 1;  // of the member's manifest
  Sha256 map_digest;
  Sha256 pinned;  // pinned digest of the result
  friend bool operator==(const SetMember&, const SetMember&) = default;
};

struct SetDescriptor {
  std::string job;
  std::vector<SetMember> members;        // 2 to 16, ascending by controller
  std::vector<std::string> write_order;  // each controller once
  bool drivable_between = false;         // whether the vehicle may be driven between two writes
  friend bool operator==(const SetDescriptor&, const SetDescriptor&) = default;

  const SetMember* find(std::string_view controller) const;
};

// The one canonical text: its fields, and as it is written.
void set_fields(Fields& field, SetDescriptor& set);
std::string write_set(const SetDescriptor& set);

// kTypeWrong, json-*, kJsonNotCanonical, then kManifestInvalid when members or write order do not fit
// together.
Result<SetDescriptor> parse_set(ByteView bytes, const std::string& name);

}  // namespace calseal
