// Approvals: the shop's signed word that it stands by a change of its rules, from one region map to another.
//
// They travel in manifests. One that does not count is as if it were not there. docs/bundle-format.md,
// "Approval".
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kApprovalLiteral = R"({"calseal":"approval/1",)";
inline constexpr std::uint64_t kApprovalSizeLimit = std::uint64_t{16} << 10;  // bytes

struct Approval {
  std::string controller;
  Sha256 from, to;  // of region map files; they differ
  std::string claimed_time;
  std::string text;                  // line: why
  std::vector<std::string> signers;  // names, in the order of the file; no part of the signed text
  friend bool operator==(const Approval&, const Approval&) = default;
};

// The signed text: its fields, and as it is written.
void approval_fields(Fields& field, Approval& approval);
std::string write_approval_text(const Approval& approval);

// In this order: size (kFileTooLarge), literal (kTypeWrong), lines (kApprovalInvalid); every signer is known
// or the root (kSignerUnknown) and every signature good (kSignatureBad); strict and canonical JSON, two
// different maps (kApprovalInvalid); all signers but the root active (kKeyCompromised), with the role
// `map-author` (kRolesMissing), restricted to no job and not from this controller (kKeyScope), claimed time
// within validity (kKeyValidity).
Result<Approval> parse_approval(ByteView file, const TrustFile& trust, const std::string& name);

// Reads one without believing it, for whoever shows a bundle: size, literal, lines and JSON alone.
Result<Approval> read_approval(ByteView file, const std::string& name);

// What a manifest's approvals come to.
struct Approvals {
  std::vector<Approval> counting;   // those that do
  std::vector<std::string> others;  // of each that does not: why, as a sentence
};
Approvals judge_approvals(const std::vector<std::string>& files, std::string_view controller,
                          const TrustFile& trust);

// The approvals that lead from one map to another, in their order, none of them needlessly; nothing where
// none do. From a map to itself no approval is needed.
std::optional<std::vector<const Approval*>> approvals_lead(const std::vector<Approval>& counting,
                                                           const Sha256& from, const Sha256& to);

}  // namespace calseal
