// The beginning of a bundle: manifest and signatures. It is all that a reader looks at before a signature
// holds.
//
// No JSON, no inflation, no central directory; the only allocation is the list of at most eight signatures.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

inline constexpr std::uint64_t kBundleSizeLeast =
    98;  // bytes: the three ZIP records of one entry, names left out
inline constexpr std::size_t kSignatureSize = 64;  // bytes of an Ed25519 signature
inline constexpr std::string_view kManifestName = "manifest.json";
inline constexpr std::string_view kSignatureFolder = "signatures/";

// The longest prefix with one signature too many behind it: a reader that has this much of a larger file
// finds in it what it would find in the whole.
inline constexpr std::uint64_t kPrefixSizeLimit = (std::uint64_t{1} << 20) + 4096;  // bytes

// Whether a file with this beginning is meant as a bundle, whole or not.
bool begins_as_bundle(ByteView beginning);

// One signature and the key that is said to have made it.
struct PrefixSignature {
  Sha256 key_id;
  std::array<std::uint8_t, kSignatureSize> signature{};
  friend bool operator==(const PrefixSignature&, const PrefixSignature&) = default;
};

// "signatures/<64 hex>.sig"
std::string signature_entry_name(const Sha256& key_id);

struct BundlePrefix {
  ByteView manifest;                        // inside the file that was given; 1 byte to 1 MiB
  std::vector<PrefixSignature> signatures;  // 1 to 8, ascending by key id
  std::uint64_t end = 0;                    // offset of the first byte after the last signature
};

// Reads the prefix of a bundle that is given whole or with its first kPrefixSizeLimit bytes at least, in this
// order: size of the file (kBundleSize); fixed fields and name of the first local header (kNotABundle);
// length of the manifest and its CRC-32 (kPrefixDamaged); the signatures, until something else than a local
// header whose name begins with "signatures/" stands there (kPrefixDamaged); at least one
// (kSignatureMissing). CRC-32 tells damage from forgery here and proves nothing. `name` only names the file
// in errors.
Result<BundlePrefix> read_prefix(ByteView file, const std::string& name);

}  // namespace calseal
