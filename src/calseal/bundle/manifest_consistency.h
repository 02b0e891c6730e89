// Whether the fields of a manifest fit together; the last step of parse_manifest(), and of use to whoever
// builds one.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"

namespace calseal {

// kManifestInvalid with the JSON pointer of the first field that does not fit; the rules stand in
// docs/bundle-format.md, "What must fit together", in the order of the checks. The fields themselves must be
// within their types and limits.
Status check_manifest_consistency(const Manifest& manifest, const std::string& name);

// What is wrong with the sizes of listed entries: of one, or of all together.
struct EntryFault {
  std::string place, found, expected;
};
std::optional<EntryFault> find_entry_fault(const std::vector<ManifestEntry>& entries);

// "attachments/" and a file name that any file system can hold: 1 to 100 of a-z 0-9 . _ -, beginning with a
// letter or digit, no two dots together, none at the end, and not a device's name.
bool is_attachment_entry(std::string_view entry_name);

}  // namespace calseal
