// The customer's question: may this bundle be written to this controller? Everything that leads to the answer
// is read once into memory and used from there; no option switches a check off, options only supply evidence.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/check/locked_ahead.h"
#include "calseal/check/open.h"
#include "calseal/check/verdict.h"
#include "calseal/map/read.h"
#include "calseal/trust/succession.h"

namespace calseal {

inline constexpr std::size_t kSaltSize = 32;  // bytes

// What a person supplies about the controller at hand.
struct MatchEvidence {
  bool read_is_fresh = false;     // declared: nothing was driven or learned since the read
  std::optional<Bytes> salt;      // the job's salt, kSaltSize bytes
  std::string vehicle_reference;  // empty: not given
};

struct CheckRequest {
  std::string bundle_name;
  Bytes bundle;
  std::string trust_name;
  Bytes trust;
  std::string stated_root;     // fingerprint as told by the shop; empty: not given
  std::vector<ReadFile> read;  // empty: none given
  MatchEvidence evidence;
  bool revive = false;  // declared: write revision 0 whole, without a read
  // What the person has besides; each one only ever refuses more, except that a permitted return and a seal
  // by a compromised key need theirs.
  std::vector<NamedBytes> successions;    // oldest first
  std::optional<NamedBytes> state;        // the checker's memory; an empty file counts as a new one
  std::optional<NamedBytes> withdrawals;  // the shop's newest list
  std::optional<NamedBytes> job_list;     // the shop's newest list of this job's revisions
  std::optional<NamedBytes> inclusion;    // proof that the ledger held this revision
  std::optional<NamedBytes> ledger_head;  // head of the shop's ledger that lay beside the bundle
  std::optional<NamedBytes> newest;       // the newest accepted bundle, where there is no state
  std::vector<NamedBytes> partners;       // the other bundles of the set
  bool declared_return = false;           // the person's word: go back to this earlier revision
  bool seal_only = false;
  UtcTime now;
};

// Never fails: whatever is wrong is a refusal with its reason. Time and memory are bounded by the sizes of
// the inputs.
Verdict check_bundle(CheckRequest request);

// The second half alone: matches a loaded read with an opened bundle and rebuilds. Also the self-check of
// sealing. Fills vehicle, shares, cautions, files of `verdict` and its steps from "match" on. `ahead`:
// digests of this read that were begun before.
Status rebuild(const OpenedBundle& opened, const Read& read, const MatchEvidence& evidence, Verdict& verdict,
               LockedAhead* ahead = nullptr);
// Whether cautions tell which checksums of the image that came fail, or the caller knows them.
enum class ImageChecks : std::uint8_t { kTold, kKnown };
// The same for an image that came in no file: none is made.
Status rebuild_image(const OpenedBundle& opened, const Image& image, const MatchEvidence& evidence,
                     Verdict& verdict, LockedAhead* ahead = nullptr, ImageChecks checks = ImageChecks::kTold);

// 32 bytes as 64 lower-case hexadecimal digits, one line end allowed. kSaltWrong otherwise.
Result<Bytes> parse_salt(ByteView file, const std::string& name);

}  // namespace calseal
