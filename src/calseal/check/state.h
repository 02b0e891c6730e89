// The checker's own memory of what it accepted: optional, small, one text file, written after the image is
// durable. docs/order.md, "The state file".
//
// It refuses more than no memory would: an older trust file, withdrawal list or revision, another successor,
// a clock that runs backwards. A state that is missing or damaged is a caution, never a reason to accept.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/key.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kStateLiteral = R"({"calseal":"state/1",)";
inline constexpr std::uint64_t kStateSizeLimit = std::uint64_t{8} << 20;  // bytes
inline constexpr std::size_t kStateRootLimit = 64;
inline constexpr std::size_t kStateJobLimit = 4096;  // controllers of jobs under one root
inline constexpr std::size_t kStateCompromisedLimit = 256;
inline constexpr std::size_t kStateListLimit = 16;  // lists of withdrawals of one root
inline constexpr std::size_t kStateDroppedLimit = 65536;
inline constexpr std::size_t kKeptRevisionLimit = 16;                         // of one job and controller
inline constexpr std::size_t kWayBackLimit = 32;                              // of one job and controller
inline constexpr std::size_t kStateMapLimit = 64;                             // texts of region maps
inline constexpr std::uint64_t kStateMapBytesLimit = std::uint64_t{2} << 20;  // of all of them together

// A revision that was accepted, and who answered for it.
struct AcceptedRevision {
  std::uint64_t base = 1;
  std::uint64_t sequence = 1;
  Sha256 revision;          // its manifest digest
  Sha256 map;               // digest of its region map
  bool reviewed = false;    // its manifest requires a reviewer
  std::vector<KeyId> keys;  // that counted, ascending; empty: proved by the ledger
  friend bool operator==(const AcceptedRevision&, const AcceptedRevision&) = default;
};

// Whether whatever `b` refuses, `a` refuses too, whichever keys are called compromised later.
bool covers(const AcceptedRevision& a, const AcceptedRevision& b);
// The same for two ways back, which only ever stand for their own revision.
bool covers_way_back(const AcceptedRevision& a, const AcceptedRevision& b);

// One of the revisions of which the newest is still known when keys turn out to be stolen.
struct KeptRevision : AcceptedRevision {
  std::optional<Sha256> set;
  std::vector<Sha256> returns;  // that it permits, ascending
  friend bool operator==(const KeptRevision&, const KeptRevision&) = default;
};

// What the lists of a job ascend by.
inline auto by_sequence(const KeptRevision& one) { return std::tie(one.sequence, one.revision, one.keys); }
inline auto by_revision(const AcceptedRevision& one) { return std::tie(one.revision, one.keys); }

// What was accepted for one controller of one job.
struct JobState {
  std::string job;
  std::string controller;
  std::vector<KeptRevision> revisions;      // ascending by_sequence; none covers another
  std::vector<AcceptedRevision> ways_back;  // revisions 0; ascending by_revision
  friend bool operator==(const JobState&, const JobState&) = default;
};

// A list of withdrawals of which the notices may still matter.
struct RememberedList {
  std::uint64_t number = 1;
  Sha256 list;                  // SHA-256 of its signed text
  std::vector<KeyId> keys;      // that signed it, ascending
  std::vector<Sha256> notices;  // revisions that it names, ascending
  std::vector<Sha256> dropped;  // that lists before it named and it does not, ascending
  friend bool operator==(const RememberedList&, const RememberedList&) = default;
};

struct RootState {
  KeyId root;
  std::optional<KeyId> next;  // the root that followed it
  std::uint64_t trust_version = 1;
  Sha256 trust;                             // SHA-256 of the signed text of that trust file
  std::vector<KeyId> compromised;           // keys that its trust files called so, ascending
  std::vector<RememberedList> withdrawals;  // in the order learned
  std::vector<JobState> jobs;               // ascending by job, then controller
  friend bool operator==(const RootState&, const RootState&) = default;

  const JobState* find(std::string_view job, std::string_view controller) const;
  JobState& entry(const std::string& job, const std::string& controller);  // made where there was none
};

struct CheckerState {
  std::string last_time;         // the latest time at which something was accepted; empty: none
  std::vector<Bytes> maps;       // texts of region maps, ascending by digest; each is some revision's
  std::vector<RootState> roots;  // ascending by root
  friend bool operator==(const CheckerState&, const CheckerState&) = default;

  const RootState* find(const KeyId& root) const;
  const Bytes* find_map(const Sha256& digest) const;  // its text; null where only the digest is kept
  RootState& entry(const KeyId& root);                // made where there was none
};

// Digests of the region maps of all revisions and ways back, ascending, each once.
std::vector<Sha256> maps_needed(const CheckerState& state);

// One line of canonical JSON, and a second line with its SHA-256 against accidental damage.
void state_fields(Fields& field, CheckerState& state);
std::string write_state(const CheckerState& state);

// kStateDamaged for anything else than what write_state() writes.
Result<CheckerState> parse_state(ByteView file, const std::string& name);

}  // namespace calseal
