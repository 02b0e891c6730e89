#include "calseal/digest/catalogue.h"

#include <algorithm>
#include <array>
#include <string>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr CatalogueEntry kEntries[] = {
#include "calseal/digest/catalogue.inc"
};

// The catalogue gives each of these to one entry, but common usage gives them to several: a bare width, or
// the CCITT polynomial with either reflection and start value. A guess here would be a wrong checksum later.
constexpr std::string_view kAmbiguous[] = {"CRC-8", "CRC-16/CCITT", "CRC-24", "CRC-32", "CRC-CCITT"};

bool has_alias(std::string_view aliases, std::string_view name) {
  while (!aliases.empty()) {
    const std::size_t comma = std::min(aliases.find(','), aliases.size());
    if (aliases.substr(0, comma) == name) return true;
    aliases.remove_prefix(std::min(comma + 1, aliases.size()));
  }
  return false;
}

}  // namespace

std::span<const CatalogueEntry> crc_catalogue() { return kEntries; }

const CatalogueEntry* find_catalogue_entry(std::string_view name) {
  if (name.empty() || std::ranges::find(kAmbiguous, name) != std::end(kAmbiguous)) return nullptr;
  const CatalogueEntry* found = nullptr;
  for (const CatalogueEntry& entry : kEntries) {
    if (entry.name != name && !has_alias(entry.aliases, name)) continue;
    if (found != nullptr) return nullptr;
    found = &entry;
  }
  return found;
}

Result<CrcParameters> parameters_of(const CatalogueEntry& entry) {
  if (entry.width > 64) {
    return fail(Error{Reason::kMapChecksum, "", "",
                      printable(entry.name) + ", " + std::to_string(entry.width) + " bits",
                      "a CRC of 3 to 64 bits", "choose another algorithm"});
  }
  return CrcParameters{entry.width, entry.poly.low, entry.init.low,
                       entry.refin, entry.refout,   entry.xorout.low};
}

}  // namespace calseal
