// Checksums that depend on each other, or on themselves, solved as one linear system over GF(2).
//
// CRCs and exclusive-or sums are affine in every bit they cover, so "every slot holds its right value" is a
// set of linear equations in the bits of the slots. Source of the method: linear algebra over GF(2), any
// textbook.
#pragma once

#include <optional>
#include <vector>

#include "calseal/digest/gf2.h"
#include "calseal/map/plan.h"

namespace calseal {

inline constexpr std::size_t kJointBitLimit =
    1024;  // unknown bits of one system; also equations, also members

// The constant part of the system: which bit of which slot changes which equation. Does not look at image
// bytes.
struct JointSystem {
  struct Unknown {
    std::size_t memory = 0;
    std::uint64_t address = 0;
    int bit = 0;
  };
  std::vector<Unknown> unknowns;
  Gf2System linear;       // the equations, in the unknowns in their order
  bool solvable = false;  // for every state of the rest of the image
  bool unique = false;
  std::vector<std::size_t> copies;  // of the group, into Plan::nodes, each after those that it repeats
};

// Nothing when a member is not affine over GF(2), when copies repeat each other in a circle, or beyond
// kJointBitLimit.
std::optional<JointSystem> make_joint_system(const Plan& plan, const PlanGroup& group);

// Sets the slots of the group in `image` so that all its members hold; false when there is no solution. Bits
// stay as they are where there is choice.
bool solve_joint_system(const Plan& plan, const PlanGroup& group, const JointSystem& system, Image& image);

}  // namespace calseal
