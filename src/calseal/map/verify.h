// Whether the checksums and copies of a region map hold on an image.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/kinds.h"
#include "calseal/map/plan.h"

namespace calseal {

struct CheckOutcome {
  std::string name;
  std::size_t node = 0;  // into Plan::nodes
  bool is_copy = false;
  bool is_rule = false;  // no slot: a value over the coverage is what must hold
  bool floating = false;
  CheckState state = CheckState::kHolds;
  std::string algorithm;      // for people: "CRC-32/ISO-HDLC", "copy, complemented"
  std::vector<Place> places;  // slots, balance or copy destination; empty for a rule without balance
  std::string stored;         // bytes of all slots, hexadecimal; a rule: the value it must have
  std::string computed;       // what they should be; a rule: the value over the coverage
  std::optional<Place>
      wrong;           // when it fails: the first wrong slot, the balance, the first wrong byte of a copy
  std::string detail;  // when it does not hold: the first wrong place, or which bytes are unknown
};

// All nodes of the plan, in its order (checksums, then copies). Reads every covered byte once per checksum.
std::vector<CheckOutcome> verify_checks(const Plan& plan, const Image& image);

// The same for one node.
CheckOutcome verify_check(const Plan& plan, std::size_t node, const Image& image);

// The same as verify_checks() for an image that knows the same bytes as another, whose outcomes are given:
// only nodes that read or write a byte in which the two differ are looked at again.
std::vector<CheckOutcome> verify_differing_checks(const Plan& plan, const Image& image, const Image& other,
                                                  std::vector<CheckOutcome> outcomes_of_other);

// What a copy holds of one byte of its original.
std::uint8_t copied_byte(const Copy& copy, std::uint8_t original);

bool any_fails(const std::vector<CheckOutcome>& outcomes);

// The first outcome of `outcomes` that fails, as an error: kChecksumFails, kCopyOneSided for a copy. Those
// that are not provable are left to the caller.
Status require_holding(const Plan& plan, const std::vector<CheckOutcome>& outcomes);

}  // namespace calseal
