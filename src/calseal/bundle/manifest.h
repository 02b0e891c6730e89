// The manifest of a bundle, format 1: what is signed. docs/bundle-format.md is normative; fields stand here
// in the order in which they are written. A field without content is the empty string, an empty list or
// false; none is ever left out.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/map/kinds.h"

namespace calseal {

class Fields;

inline constexpr std::uint64_t kManifestSizeLimit = std::uint64_t{1} << 20;  // bytes
inline constexpr std::uint64_t kBundleSizeLimit = (std::uint64_t{1} << 31) - 1;
inline constexpr std::size_t kBundleEntryLimit = 4096;  // manifest and signatures included
inline constexpr std::size_t kSignatureLimit = 8;
inline constexpr std::uint64_t kEntrySizeLimit = std::uint64_t{256} << 20;  // content of one entry
inline constexpr std::uint64_t kContentSizeLimit = std::uint64_t{512}
                                                   << 20;  // content of all entries together
inline constexpr std::uint64_t kInflationLimit =
    1032;  // deflate cannot expand more: two bits give 258 bytes at best
inline constexpr std::uint64_t kBaseLimit = 1'000'000;
inline constexpr std::uint64_t kSequenceLimit = std::uint64_t{1} << 40;
inline constexpr std::uint64_t kRevisionLimit = kSequenceLimit - 1;
inline constexpr std::size_t kReturnLimit = 1000;  // permitted returns
inline constexpr std::size_t kApprovalLimit = 16;  // of one manifest
inline constexpr std::size_t kMemoryLimit = 16;
inline constexpr std::size_t kManifestListLimit = 16384;  // of any list that has no limit of its own
inline constexpr std::size_t kFieldTextLimit = 1024;      // bytes; values read out of an image
inline constexpr std::string_view kRevisionLiteral = R"({"calseal":"revision/1",)";
inline constexpr std::uint64_t kFormat = 1;

// A range of one memory, by the memory's name.
struct NamedRange {
  std::string memory;
  Range range;
  friend bool operator==(const NamedRange&, const NamedRange&) = default;
};

struct ManifestMemory {
  std::string name;
  Range extent;
  std::vector<Range> known;  // of the base; ascending, disjoint, non-adjacent
  friend bool operator==(const ManifestMemory&, const ManifestMemory&) = default;
};

struct ManifestIdentity {
  std::string name, text;  // of the result; binding fields never appear here
  friend bool operator==(const ManifestIdentity&, const ManifestIdentity&) = default;
};

struct ManifestBinding {
  std::string name;
  NamedRange place;
  std::optional<Sha256>
      digest;  // salted; nothing when the job has no salt or the field was blank (all 00 or all ff)
  friend bool operator==(const ManifestBinding&, const ManifestBinding&) = default;
};

struct ManifestSpan {
  NamedRange place;
  SpanKind kind = SpanKind::kLocked;
  std::optional<Sha256> before, after;  // present exactly for pinned spans
  friend bool operator==(const ManifestSpan&, const ManifestSpan&) = default;
};

// The file as received (revision 0); later the raw file of each memory where every byte is pinned, else none.
struct ManifestFile {
  std::string memory, form;  // memory: empty when the file holds several; form: "raw", "intel-hex",
                             // "s-record" or a declared form's name
  std::uint64_t size = 0;
  Sha256 digest;
  friend bool operator==(const ManifestFile&, const ManifestFile&) = default;
};

// A checksum or copy of the result. The value is the stored bytes of its slots in map order, hexadecimal (a
// rule: its value); empty for a copy, for a floating slot and where not provable.
struct ManifestChecksum {
  std::string name;
  CheckState state = CheckState::kHolds;
  std::string value;
  friend bool operator==(const ManifestChecksum&, const ManifestChecksum&) = default;
};

// A permitted patch: whether it stands as "after" in the base, and in the result.
struct ManifestPatch {
  std::string name;
  bool in_base = false, in_result = false;
  friend bool operator==(const ManifestPatch&, const ManifestPatch&) = default;
};

enum class PayloadKind : std::uint8_t { kFull, kAreas };

// The bytes of `ranges`, one after another, are the content of `entry`.
struct PayloadPart {
  std::string memory;
  std::string entry;
  std::vector<Range> ranges;
  friend bool operator==(const PayloadPart&, const PayloadPart&) = default;
};

struct ManifestController {
  std::string name;
  std::string map_name;
  std::uint64_t map_version = 1;
  std::string map_grade;  // "draft" or "verified"
  Sha256 map_digest;
  std::vector<ManifestMemory> memories;
  std::vector<ManifestIdentity> identity;
  std::vector<ManifestBinding> binding;
  std::vector<ManifestSpan> spans;  // all of the image: memories in map order, ascending
  Sha256 pinned_before, pinned_after;
  std::vector<ManifestFile> files;
  std::vector<ManifestChecksum> checksums;
  std::vector<ManifestPatch> patches;
  std::vector<NamedRange> write_ranges;
  PayloadKind payload_kind = PayloadKind::kAreas;
  std::vector<PayloadPart> payload;
  friend bool operator==(const ManifestController&, const ManifestController&) = default;
};

struct ManifestOption {
  std::string name, title;
  Sha256 digest;  // of the option file
  friend bool operator==(const ManifestOption&, const ManifestOption&) = default;
};

// An option that the customer ordered. Its title is "" where nobody said it.
struct OrderedOption {
  std::string name, title;
  std::string why;  // it is not in this revision; empty: it is
  friend bool operator==(const OrderedOption&, const OrderedOption&) = default;
};

// What the customer had ordered when this was sealed.
struct ManifestOrdered {
  std::string time;              // when the shop noted the order; empty: it knows of none
  std::optional<Sha256> parcel;  // SHA-256 of the parcel.json that says so; nothing: the shop's own note
  std::vector<OrderedOption> options;  // ascending by name
  friend bool operator==(const ManifestOrdered&, const ManifestOrdered&) = default;
};

struct ManifestAttachment {
  std::string entry, title;
  friend bool operator==(const ManifestAttachment&, const ManifestAttachment&) = default;
};

struct ManifestEntry {
  std::string name;
  bool deflated = false;  // method "stored" or "deflated"
  std::uint64_t stored_size = 0;
  Sha256 stored_digest;
  std::uint64_t size = 0;
  std::uint32_t crc32 = 0;  // CRC-32/ISO-HDLC of the content
  Sha256 digest;            // of the content
  friend bool operator==(const ManifestEntry&, const ManifestEntry&) = default;
};

struct Manifest {
  std::uint64_t format = kFormat;
  std::string job;  // name
  std::uint64_t base_number = 1;
  std::string base_reason;
  std::uint64_t revision = 0;
  std::uint64_t sequence = 1;
  std::optional<Sha256> parent;  // SHA-256 of the parent's manifest; nothing for the first bundle of a job
  std::optional<Sha256> set;     // SHA-256 of set.json
  std::string claimed_time;      // RFC 3339 UTC, whole seconds
  bool trial = false;
  std::string expires;  // time, trial only; else empty
  std::vector<std::string> required_roles;
  std::string title;
  std::string notes;
  std::string vehicle_reference;  // the word that shop and customer share for this vehicle; never a VIN
  std::optional<Sha256> salt_digest;
  std::vector<ManifestController> controllers;  // format 1: exactly one
  std::vector<Sha256> permitted_returns;        // manifest digests, ascending
  std::vector<std::string> approvals;           // each a whole file, see trust/approval.h
  std::vector<ManifestOption> options;
  ManifestOrdered ordered;
  std::vector<std::string> requirements;
  std::vector<std::string> cautions;
  std::vector<ManifestAttachment> attachments;
  std::vector<std::pair<std::string, std::string>> annotations;  // name, text; shown, never deciding
  std::string tool;
  std::vector<ManifestEntry> entries;  // everything after the signatures, in file order
  friend bool operator==(const Manifest&, const Manifest&) = default;

  const ManifestController& controller() const { return controllers.front(); }
  const ManifestEntry* find_entry(std::string_view name) const;
};

// The one canonical text: its fields, and as it is written.
void place_fields(Fields& field, NamedRange& place);
void entry_fields(Fields& field, ManifestEntry& entry);
void manifest_fields(Fields& field, Manifest& manifest);
std::string write_manifest(const Manifest& manifest);

// In this order: literal (kTypeWrong), format number (kFormatUnknown), strict JSON and fields (json-*),
// canonical form (kJsonNotCanonical), inner consistency (kManifestInvalid). `name` only names the file in
// errors.
Result<Manifest> parse_manifest(ByteView bytes, const std::string& name);

}  // namespace calseal
