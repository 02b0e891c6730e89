// What the customer's checker says back about a revision that it judged: a signed receipt, or a short code
// that can be read aloud. docs/ledger.md says what each of them proves, and what not.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/check/verdict.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/key.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kReceiptLiteral = R"({"calseal":"receipt/1",)";
inline constexpr std::uint64_t kReceiptSizeLimit = 4096;  // bytes

struct Receipt {
  PublicKey
      key;  // of the customer's side; nobody vouches for it but the person who read its fingerprint aloud
  Sha256 revision;  // manifest digest
  std::string job;
  std::string controller;
  Outcome outcome = Outcome::kAccepted;
  std::string reason;  // code; of a refusal alone
  VehicleProof vehicle = VehicleProof::kNone;
  std::uint64_t head_size = 0;  // of the ledger head that lay beside the bundle; 0: none
  Sha256 head_root_hash;        // likewise; zeros: none
  std::string claimed_time;     // of the customer's clock
  friend bool operator==(const Receipt&, const Receipt&) = default;
};

// The signed text: its fields, and as it is written.
void receipt_fields(Fields& field, Receipt& receipt);
std::string write_receipt_text(const Receipt& receipt);

// In this order: size (kFileTooLarge), literal (kTypeWrong), lines, strict and canonical JSON, exactly one
// signature by the key that it names (kReceiptInvalid), that key (kKeyWeak).
Result<Receipt> parse_receipt(ByteView file, const std::string& name);

// kReceiptInvalid unless it is about this revision, and says that it was accepted, or found authentic.
Status check_receipt(const Receipt& receipt, const Sha256& manifest_digest, const std::string& name);

// The spoken code (Spoken::kReceipt) of 48 bits of HMAC-SHA-256 over kind, revision and outcome, under the
// job's salt. Empty for a refusal.
std::string receipt_code(const Sha256& manifest_digest, Outcome outcome, ByteView salt);

// kReceiptInvalid unless the code, read by read_spoken_code(), is that of this revision, accepted or found
// authentic. The error names a misheard group, never a right one.
Status check_receipt_code(std::string_view code, const Sha256& manifest_digest, ByteView salt);

}  // namespace calseal
