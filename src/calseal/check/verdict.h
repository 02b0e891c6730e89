// What the checker concludes, with everything that a person or a program needs to understand it.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/trust/tree_head.h"

namespace calseal {

enum class Outcome : std::uint8_t {
  kAccepted,   // everything holds; the image may be written
  kRefused,    // `reason` says why
  kAuthentic,  // only the seal was looked at, and it holds
};
inline constexpr std::array<std::string_view, 3> kOutcomeNames{"accepted", "refused", "authentic"};
inline std::string_view outcome_name(Outcome outcome) {
  return kOutcomeNames[static_cast<std::size_t>(outcome)];
}

enum class StepState : std::uint8_t { kPassed, kFailed, kNotReached, kNotAsked };
inline constexpr std::array<std::string_view, 4> kStepStateNames{"passed", "failed", "not-reached",
                                                                 "not-asked"};
inline std::string_view step_state_name(StepState state) {
  return kStepStateNames[static_cast<std::size_t>(state)];
}

// One of the normative checks, in their order; see docs/bundle-format.md.
struct Step {
  std::string name;
  StepState state = StepState::kNotReached;
};

// The names of the normative steps, in order, none of them reached.
std::vector<Step> all_steps();
void mark_step(std::vector<Step>& steps, std::string_view name, StepState state);

// Notes how a step went, and hands its result on.
template <typename T>
Result<T> noted(std::vector<Step>& steps, std::string_view name, Result<T> result) {
  mark_step(steps, name, result ? StepState::kPassed : StepState::kFailed);
  return result;
}

// Evidence that the person supplied, or did not.
struct EvidenceItem {
  std::string name;  // "read", "read-is-fresh", "salt", "vehicle-reference", "root-fingerprint", ...
  bool given = false;
  std::string detail;
};

// A member of the set that the bundle belongs to.
struct SetPartner {
  std::string controller;
  std::uint64_t base = 1;
  std::uint64_t sequence = 1;
  bool given = false;  // the bundle itself, or one laid beside it
};

// Where a revision stands among those accepted before.
enum class Passage : std::uint8_t {
  kUnknown,  // nothing to compare with
  kNewer,    // newer than everything known
  kNewest,   // the newest one known
  kReturn,   // an earlier revision, permitted and asked for
  kWayBack,  // revision 0, after later ones
};
inline constexpr std::array<std::string_view, 5> kPassageNames{"unknown", "newer", "newest", "return",
                                                               "way-back"};
inline std::string_view passage_name(Passage passage) {
  return kPassageNames[static_cast<std::size_t>(passage)];
}

// Something the person should know although nothing is refused for it.
struct Caution {
  std::string code;  // stable, lower-case with hyphens
  std::string text;
};

// How far it is proved that the read is from the vehicle that the bundle is for.
enum class VehicleProof : std::uint8_t { kNone, kProved, kByReference, kAsserted };
inline constexpr std::array<std::string_view, 4> kVehicleProofNames{"none", "proved", "by-reference",
                                                                    "asserted"};
inline std::string_view vehicle_proof_name(VehicleProof proof) {
  return kVehicleProofNames[static_cast<std::size_t>(proof)];
}

struct RebuiltFile {
  std::string memory;  // may be empty when the file spans memories
  std::string source;  // name of the read's file that it takes the form of
  Bytes bytes;
  Sha256 digest;  // of the bytes
};

struct Verdict {
  Outcome outcome = Outcome::kRefused;
  std::optional<Error> reason;  // present exactly when refused
  std::vector<Step> steps;
  std::vector<EvidenceItem> evidence;
  std::vector<Caution> cautions;

  // Known once the seal holds.
  std::optional<Manifest> manifest;
  Sha256 manifest_digest;
  std::vector<std::string> signers;  // names from the trust file
  std::string shop;
  std::string root_fingerprint;
  std::uint64_t trust_version = 0;  // of the trust file in use; 0: it was not believed
  std::string trust_time;           // its claimed time

  std::optional<SignedHead> ledger_head;  // of the shop's ledger, where one was given and holds

  // Known once the image was rebuilt.
  VehicleProof vehicle = VehicleProof::kNone;
  std::uint64_t editable_share = 0;   // of the known image, in hundredths of a percent
  std::uint64_t bytes_to_change = 0;  // in which read and result differ
  std::vector<RebuiltFile> files;     // only when accepted

  Passage passage = Passage::kUnknown;
  std::vector<SetPartner> partners;      // every member of the set, in the order of writing; empty: no set
  bool drivable_between_writes = false;  // of that set

  // The checker's state as it should stand after this check; empty when none was given, or a damaged one.
  std::string state_after_look;   // trust file and withdrawals remembered; for every outcome that got so far
  std::string state_after_write;  // and this revision; to be written once the files are durable
};

// "version 3 of 2026-01-02T03:04:05Z (claimed)"; nothing where no trust file was believed.
std::string trust_file_text(const Verdict& verdict);

}  // namespace calseal
