// Withdrawals: the shop's signed list of revisions that must no longer be written.
//
// A list is whole: the newest one replaces all before it. It blocks revisions, never the way back: a notice
// against a revision 0 has no effect.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/json.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kWithdrawalLiteral = R"({"calseal":"withdrawal/1",)";
inline constexpr std::uint64_t kWithdrawalSizeLimit = std::uint64_t{4} << 20;  // bytes
inline constexpr std::size_t kNoticeLimit = 4096;

enum class WithdrawalClass : std::uint8_t { kCommercial, kError, kReplaced, kSafety };
std::string_view withdrawal_class_name(WithdrawalClass value);  // "commercial", "error", "replaced", "safety"

struct WithdrawalNotice {
  Sha256 revision;  // manifest digest
  std::string job;
  std::string controller;
  WithdrawalClass kind = WithdrawalClass::kError;
  bool go_back = false;         // the revision, where written, must be taken out of the vehicle now
  std::optional<Sha256> go_to;  // manifest digest; with go_back only; nothing: the way back
  std::string text;             // line: why
  friend bool operator==(const WithdrawalNotice&, const WithdrawalNotice&) = default;
};

struct WithdrawalList {
  KeyId root;                // of the trust file under which it counts
  std::uint64_t number = 1;  // grows with every list of this root
  std::string claimed_time;
  std::string fresh_until;                // time; after it the holder should ask for a newer list
  std::vector<WithdrawalNotice> notices;  // ascending by revision, each once
  std::vector<KeyId> keys;                // that signed it, ascending; no part of the signed text
  friend bool operator==(const WithdrawalList&, const WithdrawalList&) = default;

  const WithdrawalNotice* find(const Sha256& revision) const;
};

// The signed text: its fields, and as it is written.
void notice_fields(Fields& field, WithdrawalNotice& notice);
void withdrawal_fields(Fields& field, WithdrawalList& list);
std::string write_withdrawal_text(const WithdrawalList& list);

// In this order: size (kFileTooLarge), literal (kTypeWrong), lines (kWithdrawalsInvalid); every signer known
// (kSignerUnknown) and every signature good (kSignatureBad); strict and canonical JSON, inner consistency,
// root (kWithdrawalsInvalid); all signers active (kKeyCompromised), with the role `withdrawal`
// (kRolesMissing), restricted to no job or controller (kKeyScope: a list is whole, so leaving a notice out
// speaks for every job), claimed time within validity (kKeyValidity).
Result<WithdrawalList> parse_withdrawals(ByteView file, const TrustFile& trust, const std::string& name);

}  // namespace calseal
