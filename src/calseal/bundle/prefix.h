// The beginning of a signed file: its first entry, which is what is signed, and the signatures. It is all
// that a reader looks at before a signature holds. Bundles and parcels begin so.
//
// No JSON, no inflation, no central directory; the only allocation is the list of at most eight signatures.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/reason.h"
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

// One kind of file in this framing, and the reasons by which its beginning is refused.
struct PrefixKind {
  std::string_view kind;         // "bundle", for errors
  std::string_view first_entry;  // the name of the entry that is signed
  std::string_view first_word;   // the same for errors
  std::size_t signature_limit;
  Reason wrong_size, wrong_type, damaged, not_signed;
};
inline constexpr PrefixKind kBundlePrefix{"bundle",
                                          kManifestName,
                                          "manifest",
                                          8,
                                          Reason::kBundleSize,
                                          Reason::kNotABundle,
                                          Reason::kPrefixDamaged,
                                          Reason::kSignatureMissing};

struct SignedPrefix {
  ByteView first;                           // inside the file that was given; 1 byte to 1 MiB
  std::vector<PrefixSignature> signatures;  // at least one, ascending by key id
  std::uint64_t end = 0;                    // offset of the first byte after the last signature
};

struct BundlePrefix {
  ByteView manifest;                        // inside the file that was given; 1 byte to 1 MiB
  std::vector<PrefixSignature> signatures;  // 1 to 8, ascending by key id
  std::uint64_t end = 0;                    // offset of the first byte after the last signature
};

// Reads the prefix of a file that is given whole or with its first kPrefixSizeLimit bytes at least, in this
// order: size of the file (`wrong_size`); fixed fields and name of the first local header (`wrong_type`);
// length of the first entry and its CRC-32 (`damaged`); the signatures, until something else than a local
// header whose name begins with "signatures/" stands there (`damaged`); at least one (`not_signed`). CRC-32
// tells damage from forgery here and proves nothing. `name` only names the file in errors.
Result<SignedPrefix> read_signed_prefix(ByteView file, const PrefixKind& kind, const std::string& name);

// The same of a bundle: kBundleSize, kNotABundle, kPrefixDamaged, kSignatureMissing.
Result<BundlePrefix> read_prefix(ByteView file, const std::string& name);

}  // namespace calseal
