// CRC algorithms by name, with the published values that prove them.
//
// Source: Catalogue of parametrised CRC algorithms (Greg Cook, RevEng project); see
// fixtures/vectors/README.md.
#pragma once

#include <span>
#include <string_view>

#include "calseal/digest/crc.h"

namespace calseal {

// 128-bit quantity as two words; every catalogue entry but one needs only `low`.
struct CrcValue {
  std::uint64_t low = 0;
  std::uint64_t high = 0;
  friend bool operator==(const CrcValue&, const CrcValue&) = default;
};

struct CatalogueEntry {
  std::string_view name;     // "CRC-32/ISO-HDLC"
  std::string_view aliases;  // comma-separated, may be empty
  int width;
  CrcValue poly, init;
  bool refin, refout;
  CrcValue xorout, check, residue;
};

// All entries in the catalogue's order.
std::span<const CatalogueEntry> crc_catalogue();

// By name or alias, exactly as written; nullptr when unknown or ambiguous.
const CatalogueEntry* find_catalogue_entry(std::string_view name);

// Parameters of an entry of at most 64 bits; kMapChecksum for a wider one.
Result<CrcParameters> parameters_of(const CatalogueEntry& entry);

}  // namespace calseal
