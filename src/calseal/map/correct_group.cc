#include "calseal/map/correct_group.h"

#include <algorithm>
#include <optional>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/map/joint.h"
#include "calseal/map/value.h"
#include "calseal/map/verify.h"

namespace calseal {

void put_bytes(Image& image, const Place& place, ByteView bytes) {
  std::ranges::copy(bytes, image.memories[place.memory].span(place.range).begin());
}

Bytes take_bytes(const Image& image, const Place& place) {
  const ByteView view = image.memories[place.memory].view(place.range);
  return {view.begin(), view.end()};
}

namespace {

tl::unexpected<Error> unsolvable(const Plan& plan, const std::string& name, const Place& place) {
  return fail({Reason::kMapUnsolvable, "", name + ", " + place_text(*plan.map, place),
               "no value of the balance that makes the rule hold on this image",
               "a balance that can reach every value",
               "check algorithm, target and balance of this checksum in the region map"});
}

std::string place_of_fixed(const Plan& plan, const PlanNode& node) {
  return node.fixed.empty() ? std::string() : ", " + place_text(*plan.map, node.fixed.front());
}

void correct_copy(const Plan& plan, const PlanNode& node, Image& image) {
  const Copy& copy = plan.map->copies[node.index];
  Bytes bytes = take_bytes(image, copy.of);
  for (std::uint8_t& byte : bytes) byte = copied_byte(copy, byte);
  put_bytes(image, copy.to, bytes);
}

void correct_slots(const Plan& plan, const PlanNode& node, Image& image) {
  const Checksum& checksum = plan.map->checksums[node.index];
  const CheckValue result = finish_value(checksum, compute_value(plan, node, image));
  for (const Slot& slot : checksum.slots)
    put_bytes(image, slot.place, encode_slot(checksum.algorithm, slot, result));
}

// The balance word that makes a sum reach its target, given the sum with a word of zero.
std::uint64_t balance_word(const Checksum& checksum, std::uint64_t without) {
  const std::uint64_t wanted = unfinish_number(checksum, checksum.rule->equals);
  const std::uint64_t mask = low_mask(checksum.bits);
  if (checksum.algorithm.sum.operation == SumOperation::kAdd) return (wanted - without) & mask;
  // One's complement: arithmetic modulo 2^n - 1, in which zero is written as 0.
  const std::uint64_t modulus = low_mask(checksum.algorithm.sum.accumulator);
  const std::uint64_t a = wanted % modulus;
  const std::uint64_t b = without % modulus;
  return a >= b ? a - b : modulus - (b - a);
}

// Addresses of the balance's bytes in the order in which the message reads them as one whole word; nothing
// when it does not.
std::optional<std::vector<std::uint64_t>> balance_word_addresses(const PlanNode& node, const Place& balance) {
  std::vector<std::pair<std::uint64_t, std::uint64_t>> read;  // offset in the message, address
  for (std::uint64_t address = balance.range.begin; address < balance.range.end; ++address) {
    const std::vector<std::uint64_t> offsets = node.message.offsets_of(balance.memory, address);
    if (offsets.size() != 1) return std::nullopt;
    read.emplace_back(offsets.front(), address);
  }
  std::sort(read.begin(), read.end());
  const std::uint64_t first = read.front().first;
  if (first % read.size() != 0 || read.back().first - first != read.size() - 1) return std::nullopt;
  std::vector<std::uint64_t> addresses;
  for (const auto& [offset, address] : read) addresses.push_back(address);
  return addresses;
}

Status correct_sum_balance(const Plan& plan, std::size_t index, Image& image) {
  const PlanNode& node = plan.nodes[index];
  const Checksum& checksum = plan.map->checksums[node.index];
  const Place& balance = *checksum.rule->balance;
  const auto size = static_cast<std::size_t>(balance.range.size());
  // With a swap, or a coverage in pieces, the word's bytes may stand in another order than its addresses.
  const auto addresses = balance_word_addresses(node, balance);
  if (!addresses) return unsolvable(plan, node.name, balance);
  put_bytes(image, balance, Bytes(size));
  const std::uint64_t without = compute_value(plan, node, image).number;
  for (const std::uint64_t word : {balance_word(checksum, without), low_mask(static_cast<int>(8 * size))}) {
    const Bytes bytes = encode_word(word, size, checksum.algorithm.sum.order);
    for (std::size_t i = 0; i < size; ++i) {
      image.memories[balance.memory].span({(*addresses)[i], (*addresses)[i] + 1})[0] = bytes[i];
    }
    if (verify_check(plan, index, image).state == CheckState::kHolds) return {};
  }
  return unsolvable(plan, node.name, balance);
}

}  // namespace

Status correct_group(const Plan& plan, const PlanGroup& group, Image& image) {
  const std::size_t first = group.nodes.front();
  const PlanNode& node = plan.nodes[first];
  if (!group.joint) {
    if (node.is_copy) {
      correct_copy(plan, node, image);
      return {};
    }
    const Checksum& checksum = plan.map->checksums[node.index];
    if (checksum.is_unconfirmed()) {
      return fail(
          {Reason::kChecksumFails, "", node.name + place_of_fixed(plan, node),
           "a drafted checksum that does not hold, and that nobody has confirmed",
           "one that holds, or that correction may write",
           "undo the edit; or find out whether the controller verifies it: then give it \"confirmed\" with "
           "date and grounds in the region map, and if not, remove it"});
    }
    if (!checksum.rule) {
      correct_slots(plan, node, image);
      return {};
    }
    if (!checksum.rule->balance) {
      return fail({Reason::kChecksumFails, "", node.name, "a rule that does not hold, and no balance to set",
                   "the value " + hex_number(checksum.rule->equals),
                   "undo the edit, or declare a balance slot"});
    }
    const Algorithm& algorithm = checksum.algorithm;
    if (algorithm.kind == AlgorithmKind::kSum && algorithm.sum.operation != SumOperation::kXor) {
      return correct_sum_balance(plan, first, image);
    }
  }
  const auto system = make_joint_system(plan, group);
  if (!system || !solve_joint_system(plan, group, *system, image)) {
    return unsolvable(plan, node.name, node.writes.front());
  }
  for (const std::size_t index : group.nodes) {
    if (verify_check(plan, index, image).state != CheckState::kHolds) {
      return unsolvable(plan, plan.nodes[index].name, plan.nodes[index].writes.front());
    }
  }
  return {};
}

}  // namespace calseal
