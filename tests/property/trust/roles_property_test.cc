// Giving roles to signers, against trying every assignment.
#include <gtest/gtest.h>

#include <algorithm>

#include "calseal/trust/judge.h"
#include "support/random.h"

namespace calseal {
namespace {

// Every way of choosing a different signer for each role.
bool some_assignment_works(const std::vector<Role>& roles, const Signers& signers, std::size_t next,
                           std::vector<bool>& used) {
  if (next == roles.size()) return true;
  for (std::size_t i = 0; i < signers.size(); ++i) {
    if (used[i] || !signers[i]->has_role(roles[next])) continue;
    used[i] = true;
    const bool works = some_assignment_works(roles, signers, next + 1, used);
    used[i] = false;
    if (works) return true;
  }
  return false;
}

TEST(Roles, AgreeWithTryingEverything) {
  Random random;
  int possible = 0;
  constexpr int kRounds = 20000;
  for (int round = 0; round < kRounds; ++round) {
    std::vector<TrustedKey> keys(random.between(0, 6));
    Signers signers;
    for (TrustedKey& key : keys) {
      for (int role = 0; role < 5; ++role) {
        if (random.between(0, 3) == 0) key.roles.push_back(static_cast<Role>(role));
      }
      signers.push_back(&key);
    }
    std::vector<Role> roles(random.between(0, 5));
    for (Role& role : roles) role = static_cast<Role>(random.between(0, 4));
    std::vector<bool> used(signers.size(), false);
    const bool expected = some_assignment_works(roles, signers, 0, used);
    possible += expected ? 1 : 0;
    ASSERT_EQ(roles_can_be_filled(roles, signers), expected) << "round " << round;
  }
  EXPECT_GT(possible, kRounds / 10);
  EXPECT_LT(possible, kRounds * 9 / 10);
}

}  // namespace
}  // namespace calseal
