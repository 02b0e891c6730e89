// The customer's question: may this bundle be written to this controller? Everything that leads to the answer
// is read once into memory and used from there; no option switches a check off, options only supply evidence.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/check/match.h"
#include "calseal/check/open.h"
#include "calseal/check/verdict.h"
#include "calseal/map/read.h"
#include "calseal/trust/succession.h"

namespace calseal {

inline constexpr std::size_t kSaltSize = 32;  // bytes

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
  bool declared_old_base = false;         // the person's word: the controller has this revision 0's base
  bool declared_clock = false;  // the person's word: the clock is right, whatever the state has seen
  bool seal_only = false;
  UtcTime now;
};

// Never fails: whatever is wrong is a refusal with its reason. Time and memory are bounded by the sizes of
// the inputs.
Verdict check_bundle(CheckRequest request);

// 32 bytes as 64 lower-case hexadecimal digits, one line end allowed. kSaltWrong otherwise.
Result<Bytes> parse_salt(ByteView file, const std::string& name);

}  // namespace calseal
