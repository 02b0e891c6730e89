#include "calseal/study/one_bit.h"

#include <algorithm>
#include <cmath>

#include "calseal/study/one_byte.h"

namespace calseal {
namespace {

constexpr std::size_t kMostPlaces = 256;  // that one CRC may point to

double bits_of(const Plan& plan, const PlanNode& node) {
  return node.is_copy ? 8 : plan.map->checksums[node.index].bits;
}

bool reads(const PlanNode& node, const OneByte& place) {
  return node.reads[place.memory].contains(place.address);
}

// Whether every check that reads the byte holds.
bool all_hold(const Plan& plan, const Image& image, const OneByte& place) {
  for (std::size_t i = 0; i < plan.nodes.size(); ++i) {
    if (reads(plan.nodes[i], place) && verify_check(plan, i, image).state == CheckState::kFails) return false;
  }
  return true;
}

}  // namespace

std::optional<OneBit> find_one_bit(const Plan& plan, const Image& image,
                                   const std::vector<CheckOutcome>& checks) {
  const CheckOutcome* least = nullptr;  // the CRC that leaves the fewest places
  std::vector<const PlanNode*> failing;
  const auto places = [&](const CheckOutcome& check) {
    const PlanNode& node = plan.nodes[check.node];
    return static_cast<double>(node.message.length()) * std::exp2(3 - bits_of(plan, node));
  };
  for (const CheckOutcome& check : checks) {
    if (check.state != CheckState::kFails) continue;
    const PlanNode& node = plan.nodes[check.node];
    failing.push_back(&node);
    if (node.is_copy || plan.map->checksums[node.index].algorithm.kind != AlgorithmKind::kCrc) continue;
    if (least == nullptr || places(check) < places(*least)) least = &check;
  }
  if (least == nullptr || failing.size() < 2) return std::nullopt;
  std::optional<OneBit> found;
  Image trial = image;
  for (const OneByte& place : bits_pointed_to(plan, plan.nodes[least->node], image, kMostPlaces)) {
    const bool by_all =
        std::ranges::all_of(failing, [&](const PlanNode* node) { return reads(*node, place); });
    if (!by_all) continue;
    std::uint8_t& byte = trial.memories[place.memory].span({place.address, place.address + 1})[0];
    const std::uint8_t wrong = byte;
    byte = place.right;
    const bool right = all_hold(plan, trial, place);
    byte = wrong;
    if (!right) continue;
    if (found) return std::nullopt;
    found = OneBit{place.memory, place.address, place.right, 1};
  }
  if (!found) return std::nullopt;
  // The others agree as well: each leaves one place in 2^bits.
  found->chance = places(*least);
  for (const PlanNode* node : failing) {
    if (node != &plan.nodes[least->node]) found->chance *= std::exp2(-bits_of(plan, *node));
  }
  return found->chance <= kOneBitChance ? found : std::nullopt;
}

}  // namespace calseal
