// After the write: does the controller hold what the revision says? Nothing is rebuilt and nothing is
// written.
//
// What was read back is compared with every pinned byte: exactly where the bundle carries the bytes, by
// digest elsewhere. Volatile bytes are left aside, binding fields are compared by their salted digests only,
// floating checks must hold. Where a controller cannot be read back, a generic scan tool (SAE J1979, service
// 09: InfoType 02 VIN, 04 calibration identification, 06 calibration verification number) gives weaker proof.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/open.h"
#include "calseal/check/verdict.h"
#include "calseal/map/read.h"
#include "calseal/trust/succession.h"

namespace calseal {

inline constexpr std::size_t kScanLimit = 64;         // values
inline constexpr std::size_t kScanValueLimit = 1024;  // bytes of one value

// How strong the proof is; each says less than the next.
enum class ProofGrade : std::uint8_t {
  kNone,                // nothing was given, or nothing of it can be compared
  kIdentity,            // names that the controller reports
  kVerificationNumber,  // a checksum that the controller reports over its own calibration
  kBytes,               // the bytes themselves
};
inline constexpr std::array<std::string_view, 4> kProofGradeNames{"none", "identity", "verification-number",
                                                                  "bytes"};
inline std::string_view proof_grade_name(ProofGrade grade) {
  return kProofGradeNames[static_cast<std::size_t>(grade)];
}

// A value that a scan tool reports, under the name of an identity field of the region map.
struct ScanValue {
  std::string name;
  std::string value;
};
// Splits "NAME=VALUE". kUsage without a name, a value or the equals sign, or when the value is too long.
Result<ScanValue> parse_scan_argument(const std::string& argument);

enum class ScanState : std::uint8_t { kEqual, kDiffers, kNotCompared };
inline constexpr std::array<std::string_view, 3> kScanStateNames{"equal", "differs", "not-compared"};
inline std::string_view scan_state_name(ScanState state) {
  return kScanStateNames[static_cast<std::size_t>(state)];
}

struct ComparedValue {
  std::string name;
  std::string kind;  // of the identity field
  ScanState state = ScanState::kNotCompared;
  bool tells_apart = false;  // base and revision have different values, so an equal one tells which is there
  std::string why;           // when not compared
};

// Where read-back and revision differ first.
struct Difference {
  NamedRange place;
  std::string region;  // or empty
  SpanKind kind = SpanKind::kLocked;
  bool exact = false;           // the place is the differing run of bytes; else the span that holds it
  std::string found, expected;  // hexadecimal excerpts; expected is empty when the bundle does not carry it
};

struct Confirmation {
  std::optional<Error> reason;  // why it is refused
  ProofGrade grade = ProofGrade::kNone;
  bool confirmed() const { return !reason && grade != ProofGrade::kNone; }

  // Known once the seal holds.
  std::optional<Manifest> manifest;
  Sha256 manifest_digest;
  std::vector<std::string> signers;
  std::string shop;
  std::string root_fingerprint;

  // With a read.
  bool read_compared = false;
  VehicleProof vehicle = VehicleProof::kNone;
  std::uint64_t bytes_compared = 0;   // pinned bytes
  std::uint64_t bytes_differing = 0;  // in exact runs, and in spans where only the digest is known
  std::uint64_t bytes_changed = 0;    // in which the revision differs from what was there before
  std::uint64_t bytes_arrived = 0;    // of these, as they should be
  std::optional<Difference> first;

  std::vector<ComparedValue> scan;
  std::vector<Caution> cautions;
};

// What a person has after the write. Everything is optional.
struct ConfirmEvidence {
  std::vector<ReadFile> after;   // read back
  std::vector<ReadFile> before;  // the read from before the write: tells what is old byte for byte
  std::vector<ScanValue> scan;
  std::optional<Bytes> salt;  // the job's, kSaltSize bytes: for binding fields
};

// Compares; fills everything of `confirmation` from "with a read" on. In this order: the read-back is loaded
// and complete, of this base (kReadForeign) and vehicle (kVehicleMismatch), and holds the revision:
// kConfirmOld, kConfirmPartial, kConfirmRecorrected, kConfirmDiffers, kChecksumFails (a floating check); then
// the scan (kScanMismatch). kUsage for a scan name that is no identity field.
Status confirm(const OpenedBundle& opened, ConfirmEvidence evidence, Confirmation& confirmation);

struct ConfirmRequest {
  std::string bundle_name;
  Bytes bundle;
  std::string trust_name;
  Bytes trust;
  std::string stated_root;
  std::vector<NamedBytes> successions;
  std::optional<NamedBytes> inclusion;
  ConfirmEvidence evidence;
};

// Opens and confirms. Never fails: whatever is wrong is a refusal with its reason. Neither clock nor order in
// time matter after the write.
Confirmation confirm_bundle(ConfirmRequest request);

}  // namespace calseal
