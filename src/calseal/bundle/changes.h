// changes.json: the byte ranges in which base and result differ, each with its region and option.
// docs/bundle-format.md.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"

namespace calseal {

inline constexpr std::string_view kChangesName = "changes.json";
inline constexpr std::string_view kChangesLiteral = R"({"calseal":"changes/1",)";
inline constexpr std::size_t kChangeLimit = 262144;                         // ranges
inline constexpr std::uint64_t kChangesSizeLimit = std::uint64_t{8} << 20;  // bytes

struct Change {
  NamedRange place;
  std::string region;  // name of the region, or empty
  std::string option;  // name of the option, or empty
  friend bool operator==(const Change&, const Change&) = default;
};

// The one canonical text: the fields of each change, and as it is written.
void change_fields(Fields& field, Change& change);
std::string write_changes(const std::vector<Change>& changes);

// kTypeWrong, json-*, kJsonNotCanonical, then kManifestInvalid when the ranges of one memory do not stand
// together, ascending and disjoint. Whether they are the right ranges is proved against the bytes (check
// layer). Read change by change: what it takes beside the text and the changes is about as much as the text.
Result<std::vector<Change>> parse_changes(ByteView bytes, const std::string& name);

}  // namespace calseal
