// The customer's question: may this bundle be written to this controller?
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/api/verdict.h"

namespace calseal::api {

// What the person has, and what he declares. Nothing switches a check off; evidence can only be added.
struct CheckRequest {
  File bundle;
  File trust;                  // the shop's trust file
  std::vector<File> read;      // of the controller, now
  bool read_is_fresh = false;  // declared: nothing was driven or learned since
  std::optional<File> salt;    // the job's salt file
  std::string vehicle_reference;
  std::string stated_root;  // fingerprint of the shop's root, as the shop read it out
  bool revive = false;      // declared: write revision 0 whole, without a read

  std::optional<File> state;  // what was accepted before; empty bytes: a new one
  std::optional<File> withdrawals, job_list, inclusion, newest;
  std::vector<File> successions;  // oldest first
  std::vector<File> partners;     // the other bundles of the set
  bool go_back = false;           // declared: go back to this earlier revision
  bool old_base = false;          // declared: the controller has the base of this revision 0
  bool clock_is_right = false;    // declared: whatever the state has seen
  bool seal_only = false;         // look at the seal alone
};

// Reads the clock once. Whatever is wrong is a refusal with its reason.
Verdict check(const CheckRequest& request);

}  // namespace calseal::api
