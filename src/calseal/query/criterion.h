// What a question asks for: criteria in words, joined by "and".
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

enum class CriterionKind : std::uint8_t {
  kTouches,  // MEMORY:0x…-0x…, first and last address, or MEMORY:0x…: a byte there differs from the base
  kRegion,   // name: a byte of this region differs from the base
  kItem,     // name of a calibration item that the revision lists as changed
  kOption,   // name of an option that the revision contains
  kMap,      // digest of the region map
  kStock,    // digest of a file of the first read as received, or of its pinned bytes
  kSoftware,    // value of an identity field of kind software-number, before or after
  kKey,         // key id: a signature by this key is in the bundle
  kJob,         // name
  kController,  // name
  kVehicle,     // vehicle reference, the word that shop and customer share
  kRevision,    // number
  kIdentity,    // digest of the manifest
};

struct Criterion {
  CriterionKind kind = CriterionKind::kJob;
  std::string text;          // names, words
  Sha256 digest;             // kMap, kStock, kKey, kIdentity
  Range range;               // kTouches
  std::uint64_t number = 0;  // kRevision
};

struct CriterionWord {
  CriterionKind kind;
  std::string_view word;   // "touches", …: `--touches VALUE`, or `--where touches=VALUE`
  std::string_view value;  // what stands for the value in --help
  std::string_view meaning;
};
const std::vector<CriterionWord>& criterion_words();

// kUsage, naming `option` (as "--touches"), where the value is not one of its kind.
Result<Criterion> parse_criterion(CriterionKind kind, const std::string& value, const std::string& option);
// "touches=flash:0x80000040-0x8000007f". kUsage.
Result<Criterion> parse_criterion(const std::string& text, const std::string& option);

}  // namespace calseal
