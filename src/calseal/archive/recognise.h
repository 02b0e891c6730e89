// What a file is, by its content: names and places count for nothing.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/record.h"

namespace calseal {

enum class FileKind : std::uint8_t {
  kUnknown,  // a raw image, a drive log, a note: nothing in it says what it is
  kEmpty,
  kBundle,
  kTrustFile,
  kSuccession,
  kWithdrawals,
  kJobList,
  kApproval,
  kLedgerEntries,
  kLedgerDetails,
  kLedgerTip,
  kLedgerHead,
  kInclusion,
  kConsistency,
  kReceipt,
  kCheckerState,
  kRegionMap,
  kOption,
  kJobFacts,   // job.json
  kJobEvents,  // events.jsonl
  kSalt,       // of a job: 64 hexadecimal digits
  kPublicKey,
  kPrivateKey,
  kIntelHex,
  kSRecord,
  kAuditRecord,
  kVehicleFacts,  // vehicle.json
  kParcel         // from a customer
};
inline constexpr std::array<std::string_view, 28> kFileKindNames{
    "unknown",   "empty",        "bundle",         "trust-file",     "succession",  "withdrawals",
    "job-list",  "approval",     "ledger-entries", "ledger-details", "ledger-tip",  "ledger-head",
    "inclusion", "consistency",  "receipt",        "checker-state",  "region-map",  "option",
    "job-facts", "job-events",   "salt",           "public-key",     "private-key", "intel-hex",
    "s-record",  "audit-record", "vehicle-facts",  "parcel"};
inline std::string_view file_kind_name(FileKind kind) {
  return kFileKindNames[static_cast<std::size_t>(kind)];
}

// The first line of what an audit wrote down.
inline constexpr std::string_view kRecordLiteral = R"({"calseal":"audit-record/1",)";

inline constexpr std::size_t kRecogniseSize = 4096;  // bytes of the beginning that tell a kind

// `beginning`: the first kRecogniseSize bytes of the file, or all of it. A guess that costs nothing; whoever
// uses a file judges it as its kind.
FileKind recognise(ByteView beginning);

// What the beginning of a bundle says about itself, unproved: enough to find a base, never to believe one.
struct BundleHint {
  std::string job;
  std::uint64_t base = 1, revision = 0, sequence = 1;
  friend bool operator==(const BundleHint&, const BundleHint&) = default;
};
// Nothing when these fields are not there in canonical form.
std::optional<BundleHint> hint_of_bundle(ByteView beginning);

}  // namespace calseal
