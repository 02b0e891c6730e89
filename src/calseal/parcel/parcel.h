// A parcel, format 1: what a customer sends to a shop in one file, signed with a key of his own.
// docs/parcel.md is normative; fields stand here in the order in which they are written.
//
// Nobody vouches for the key. So a sound parcel says that all of it came together from the holder of this key
// and is whole, and nothing about a vehicle.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/key.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kParcelEntry = "parcel.json";
inline constexpr std::string_view kParcelLiteral = R"({"calseal":"parcel/1",)";
inline constexpr std::uint64_t kParcelNumberLimit = std::uint64_t{1} << 40;
inline constexpr std::uint64_t kSeriesLimit = 16;
inline constexpr std::size_t kParcelReadLimit = 64;
inline constexpr std::size_t kParcelLogLimit = 64;
inline constexpr std::size_t kParcelOrderLimit = 256;
inline constexpr std::size_t kParcelAnswerLimit = 64;
inline constexpr std::size_t kAnswerSizeLimit = 4096;  // bytes
inline constexpr std::size_t kAcceptedLimit = 1024;
inline constexpr std::size_t kParcelFindingLimit = 448;  // seven for each read

inline constexpr PrefixKind kParcelPrefix{
    "parcel",           kParcelEntry,           "parcel.json",         1, Reason::kParcelInvalid,
    Reason::kTypeWrong, Reason::kParcelInvalid, Reason::kParcelInvalid};

struct ParcelAnswer {
  std::string question;  // name
  std::string answer;    // for a choice the choice's name
  friend bool operator==(const ParcelAnswer&, const ParcelAnswer&) = default;
};

struct ParcelRead {
  std::string entry;
  std::string controller, memory;  // names, or empty: nobody said
  std::uint64_t series = 1;        // 2: the second read of the same memory
  std::string file_name;           // line
  friend bool operator==(const ParcelRead&, const ParcelRead&) = default;
};

struct ParcelLog {
  std::string entry;
  std::optional<Sha256> revision;  // digest of the manifest that was driven
  std::string file_name;           // line
  friend bool operator==(const ParcelLog&, const ParcelLog&) = default;
};

// What the maker saw in a read and told the customer; see look.h.
struct ParcelFinding {
  std::string entry;
  std::string code;
  friend bool operator==(const ParcelFinding&, const ParcelFinding&) = default;
};

struct Parcel {
  PublicKey key;  // the customer's
  std::uint64_t number = 1;
  std::string claimed_time;
  std::optional<KeyId> root;      // of the shop that it is for
  std::optional<Sha256> sheet;    // of the sheet's signed text
  std::string job;                // name, or empty
  std::string vehicle_reference;  // line, or empty
  std::string words;
  std::vector<std::string> order;  // options, ascending
  std::vector<ParcelAnswer> answers;
  std::vector<std::string> accepted;  // cautions, word for word
  std::vector<ParcelRead> reads;
  std::vector<ParcelLog> logs;
  std::vector<ParcelFinding> findings;
  std::string tool;
  std::vector<ManifestEntry> entries;  // all reads, then all logs
  friend bool operator==(const Parcel&, const Parcel&) = default;
};

// "reads/1.bin", "logs/1.log": of the read or log at `index`.
std::string read_entry_name(std::size_t index);
std::string log_entry_name(std::size_t index);

// The one canonical text: its fields, and as it is written.
void parcel_fields(Fields& field, Parcel& parcel);
std::string write_parcel_text(const Parcel& parcel);

// A parcel that is sound, with its file.
struct OpenedParcel {
  std::string name;  // for errors
  Bytes file;
  Parcel parcel;
  Framing framing;
  Sha256 digest;       // of the file
  Sha256 text_digest;  // of its parcel.json

  // Of parcel.entries[index]; it was proved. kInternal when libdeflate has no memory.
  Result<Bytes> content(std::size_t index) const;
};

// Checks 1 to 7 of docs/parcel.md in their order. kParcelInvalid, kTypeWrong, kFormatUnknown, kKeyWeak,
// kSignatureBad, kFramingDamaged, kStoredDigest, kContentDigest. Nothing is parsed or inflated before the
// signature holds, and contents are proved piece by piece.
Result<OpenedParcel> open_parcel(Bytes file, const std::string& name);

// The same of a file, of which no more is read than what its beginning promises, and one byte more. Errors of
// read_file() first.
Result<OpenedParcel> read_parcel(const std::string& path);

// Whether a file with this beginning is meant as a parcel, whole or not.
bool begins_as_parcel(ByteView beginning);

// The fingerprint of the customer's key, as he reads it aloud.
std::string parcel_fingerprint(const Parcel& parcel);

}  // namespace calseal
