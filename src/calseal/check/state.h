// The checker's own memory of what it accepted: optional, small, one text file, written after the image is
// durable.
//
// It only ever refuses more than no memory would: an older trust file, withdrawal list or revision, a clock
// that runs backwards. A state that is missing or damaged is a caution, never a reason to accept.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/key.h"

namespace calseal {

inline constexpr std::string_view kStateLiteral = R"({"calseal":"state/1",)";
inline constexpr std::uint64_t kStateSizeLimit = std::uint64_t{8} << 20;  // bytes
inline constexpr std::size_t kStateRootLimit = 64;
inline constexpr std::size_t kStateJobLimit = 4096;  // controllers of jobs under one root

// What was accepted last for one controller of one job.
struct JobState {
  std::string job;
  std::string controller;
  std::uint64_t base = 1;               // highest base number seen
  std::uint64_t way_back_sequence = 0;  // of the newest revision 0 accepted on that base; 0: none yet
  std::optional<Sha256> way_back;       // its manifest digest
  std::uint64_t sequence = 1;           // highest accepted
  Sha256 revision;                      // its manifest digest
  std::optional<Sha256> set;            // its set
  std::vector<Sha256> returns;          // its permitted returns, ascending
  friend bool operator==(const JobState&, const JobState&) = default;
};

struct RootState {
  KeyId root;
  std::uint64_t trust_version = 1;
  Sha256 trust;                         // SHA-256 of the signed text of that trust file
  bool superseded = false;              // a successor was seen: nothing under this root counts any more
  std::uint64_t withdrawal_number = 0;  // 0: no list seen
  std::optional<Sha256> withdrawals;    // SHA-256 of the signed text of that list
  std::vector<Sha256> withdrawn;        // revisions that the list names, ascending
  std::vector<JobState> jobs;           // ascending by job, then controller
  friend bool operator==(const RootState&, const RootState&) = default;

  const JobState* find(std::string_view job, std::string_view controller) const;
  JobState& entry(const std::string& job, const std::string& controller);  // made where there was none
};

struct CheckerState {
  std::string last_time;         // the latest time at which something was accepted; empty: none
  std::vector<RootState> roots;  // ascending by root
  friend bool operator==(const CheckerState&, const CheckerState&) = default;

  const RootState* find(const KeyId& root) const;
  RootState& entry(const KeyId& root);  // made where there was none
};

// One line of canonical JSON, and a second line with its SHA-256 against accidental damage.
std::string write_state(const CheckerState& state);

// kStateDamaged for anything else than what write_state() writes.
Result<CheckerState> parse_state(ByteView file, const std::string& name);

}  // namespace calseal
