// Correction of one group of the plan: what correct() and CorrectedImage do in common.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/joint.h"
#include "calseal/map/plan.h"

namespace calseal {

void put_bytes(Image& image, const Place& place, ByteView bytes);
Bytes take_bytes(const Image& image, const Place& place);

// Sets the derived bytes of a group whose reads are known and whose earlier groups are right. kMapUnsolvable,
// kChecksumFails as correct(); the group's bytes are then in no stated condition.
// `system` is make_joint_system() of the group, where the caller has kept it.
Status correct_group(const Plan& plan, const PlanGroup& group, Image& image,
                     const JointSystem* system = nullptr);

// Addresses of the balance's bytes in the order in which the message reads them as one whole word; nothing
// when it does not.
std::optional<std::vector<std::uint64_t>> balance_word_addresses(const PlanNode& node, const Place& balance);

// The balance word that makes a sum reach its target, given the sum with a word of zero.
std::uint64_t balance_word(const Checksum& checksum, std::uint64_t without);

}  // namespace calseal
