#include "calseal/map/joint.h"

#include <algorithm>
#include <array>
#include <iterator>
#include <utility>

#include "calseal/digest/crc.h"
#include "calseal/map/value.h"
#include "calseal/map/verify.h"

namespace calseal {
namespace {

const Checksum& checksum_of(const Plan& plan, const PlanNode& node) {
  return plan.map->checksums[node.index];
}
const Copy& copy_of(const Plan& plan, const PlanNode& node) { return plan.map->copies[node.index]; }

bool algorithm_is_affine(const Algorithm& algorithm) {
  return algorithm.kind == AlgorithmKind::kCrc ||
         (algorithm.kind == AlgorithmKind::kSum && algorithm.sum.operation == SumOperation::kXor);
}

bool is_affine(const Plan& plan, const PlanNode& node) {
  if (node.is_copy) return copy_of(plan, node).transform != CopyTransform::kOffset;
  const Checksum& checksum = checksum_of(plan, node);
  if (!algorithm_is_affine(checksum.algorithm)) return false;
  if (checksum.rule) return true;  // its wanted value is undone to the algorithm's own, see unfinish_number()
  if (checksum.complement == Complement::kTwos || checksum.add != 0) return false;
  return std::all_of(checksum.slots.begin(), checksum.slots.end(), [](const Slot& slot) {
    return slot.encoding == SlotEncoding::kBinary && slot.transform != SlotTransform::kNegate;
  });
}

// The group's copies, each after those that it repeats; nothing when they repeat each other in a circle.
std::optional<std::vector<std::size_t>> copies_in_order(const Plan& plan, const PlanGroup& group) {
  std::vector<std::size_t> copies;
  std::ranges::copy_if(group.nodes, std::back_inserter(copies),
                       [&](std::size_t i) { return plan.nodes[i].is_copy; });
  const auto repeats = [&](std::size_t i, std::size_t j) {
    const Place& of = copy_of(plan, plan.nodes[copies[i]]).of;
    const Place& to = copy_of(plan, plan.nodes[copies[j]]).to;
    return of.memory == to.memory && of.range.overlaps(to.range);
  };
  std::vector<std::size_t> waits_for(copies.size(), 0);
  for (std::size_t i = 0; i < copies.size(); ++i) {
    for (std::size_t j = 0; j < copies.size(); ++j) waits_for[i] += repeats(i, j) ? 1 : 0;
  }
  std::vector<std::size_t> ready;
  for (std::size_t i = 0; i < copies.size(); ++i) {
    if (waits_for[i] == 0) ready.push_back(i);
  }
  std::vector<std::size_t> order;
  for (std::size_t done = 0; done < ready.size(); ++done) {
    order.push_back(copies[ready[done]]);
    for (std::size_t i = 0; i < copies.size(); ++i) {
      if (repeats(i, ready[done]) && --waits_for[i] == 0) ready.push_back(i);
    }
  }
  if (order.size() != copies.size()) return std::nullopt;
  return order;
}

// A byte that is an unknown, or that the group's copies repeat from one.
struct RepeatedByte {
  std::size_t memory = 0;
  std::uint64_t address = 0;
  std::size_t unknown = 0;  // index of the byte among the unknown ones
};

// The byte itself and every byte of the group's copies that repeats it.
void add_repeated(const Plan& plan, const std::vector<std::size_t>& copies, const RepeatedByte& byte,
                  std::vector<RepeatedByte>& repeated) {
  const std::size_t first = repeated.size();
  repeated.push_back(byte);
  for (const std::size_t index : copies) {
    const Copy& copy = copy_of(plan, plan.nodes[index]);
    for (std::size_t i = first, end = repeated.size(); i < end; ++i) {
      if (copy.of.memory != repeated[i].memory || !copy.of.range.contains(repeated[i].address)) continue;
      const std::uint64_t to = copy.to.range.begin + (repeated[i].address - copy.of.range.begin);
      repeated.push_back({copy.to.memory, to, byte.unknown});
    }
  }
}

// What flipping bits of the unknown bytes changes in the values of checksums.
class Effects {
 public:
  Effects(const Plan& plan, const JointSystem& system) {
    for (std::size_t i = 0; i < system.unknowns.size(); i += 8) {
      const JointSystem::Unknown& first_bit = system.unknowns[i];
      add_repeated(plan, system.copies, {first_bit.memory, first_bit.address, i / 8}, repeated_);
    }
    bytes_ = system.unknowns.size() / 8;
  }

  using OfByte = std::array<std::uint64_t, 8>;  // lowest bit first

  // By unknown byte. Linear in the bytes of the message that are unknown.
  std::vector<OfByte> on(const Checksum& checksum, const Message& message) {
    return checksum.algorithm.kind == AlgorithmKind::kCrc ? on_crc(crc_of(checksum.algorithm.crc), message)
                                                          : on_xor(checksum.algorithm.sum, message);
  }

 private:
  std::vector<OfByte> on_crc(const Crc& crc, const Message& message) {
    std::vector<std::uint64_t> powers(bytes_, 0);
    std::uint64_t power = 1;  // of the byte at `at`
    std::uint64_t at = message.length() - 1;
    walk_back(message, [&](std::uint64_t offset, std::size_t unknown) {
      power = crc.shift(power, at - offset);
      at = offset;
      powers[unknown] ^= power;
    });
    std::vector<OfByte> effects;
    for (const std::uint64_t sum : powers) effects.push_back(crc.byte_effects(sum));
    return effects;
  }

  std::vector<OfByte> on_xor(const SumParameters& sum, const Message& message) {
    std::vector<OfByte> effects(bytes_, OfByte{});
    const auto unit = static_cast<std::uint64_t>(sum.unit / 8);
    walk_back(message, [&](std::uint64_t offset, std::size_t unknown) {
      const std::uint64_t in_word = offset % unit;
      const std::uint64_t byte = sum.order == ByteOrder::kBig ? unit - 1 - in_word : in_word;
      for (std::size_t bit = 0; bit < 8; ++bit) effects[unknown][bit] ^= std::uint64_t{1} << (8 * byte + bit);
    });
    return effects;
  }

  // Calls `take` with every offset of the message at which an unknown byte stands, the last first.
  template <typename Take>
  void walk_back(const Message& message, const Take& take) {
    const std::vector<RepeatedByte>& named = by_name(message.lane());
    for (auto piece = message.pieces().rbegin(); piece != message.pieces().rend(); ++piece) {
      if (piece->kind != MessagePiece::Kind::kMemory) continue;
      auto byte = std::ranges::lower_bound(named, std::pair(piece->memory, piece->address + piece->size), {},
                                           place_of);
      while (byte != named.begin() &&
             place_of(*std::prev(byte)) >= std::pair(piece->memory, piece->address)) {
        --byte;
        take(piece->offset + (byte->address - piece->address), byte->unknown);
      }
    }
  }

  static std::pair<std::size_t, std::uint64_t> place_of(const RepeatedByte& byte) {
    return {byte.memory, byte.address};
  }

  // The bytes by the addresses for which a coverage with this lane reads them, ascending.
  const std::vector<RepeatedByte>& by_name(std::uint64_t lane) {
    std::vector<RepeatedByte>& named = by_lane_[lane];
    if (!named.empty()) return named;
    named = repeated_;
    for (RepeatedByte& byte : named) byte.address ^= lane;
    std::ranges::sort(named, {}, place_of);
    return named;
  }

  std::vector<RepeatedByte> repeated_;
  std::array<std::vector<RepeatedByte>, 4> by_lane_;
  std::size_t bytes_ = 0;
};

// Equations of one checksum: bits of its rule's value, or bits of its slots.
std::size_t equations_of(const Checksum& checksum) {
  if (checksum.rule) return static_cast<std::size_t>(checksum.bits);
  std::size_t bits = 0;
  for (const Slot& slot : checksum.slots) bits += static_cast<std::size_t>(8 * slot.place.range.size());
  return bits;
}

void set_bits(BitVector& vector, std::size_t first, ByteView bytes) {
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    for (std::size_t bit = 0; bit < 8; ++bit) {
      const std::size_t at = first + 8 * i + bit;
      vector.set(at, vector.get(at) != (((bytes[i] >> bit) & 1U) != 0));
    }
  }
}

// Adds a change of the value to the equations of its checksum.
void add_value_change(BitVector& vector, std::size_t first, const Checksum& checksum, std::uint64_t change) {
  if (checksum.rule) {
    for (int bit = 0; bit < checksum.bits; ++bit) {
      const std::size_t at = first + static_cast<std::size_t>(bit);
      vector.set(at, vector.get(at) != (((change >> bit) & 1U) != 0));
    }
    return;
  }
  // encode_slot is affine here, so its linear part is the difference to the slot of value 0.
  for (const Slot& slot : checksum.slots) {
    Bytes bytes = encode_slot(checksum.algorithm, slot, {change & low_mask(checksum.bits), {}});
    const Bytes zero = encode_slot(checksum.algorithm, slot, {0, {}});
    for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] ^= zero[i];
    set_bits(vector, first, bytes);
    first += 8 * bytes.size();
  }
}

void apply_copies(const Plan& plan, const std::vector<std::size_t>& copies, Image& image) {
  for (const std::size_t index : copies) {
    const Copy& copy = copy_of(plan, plan.nodes[index]);
    const ByteView of = image.memories[copy.of.memory].view(copy.of.range);
    const auto to = image.memories[copy.to.memory].span(copy.to.range);
    for (std::size_t i = 0; i < to.size(); ++i) to[i] = copied_byte(copy, of[i]);
  }
}

}  // namespace

std::optional<JointSystem> make_joint_system(const Plan& plan, const PlanGroup& group) {
  JointSystem system;
  if (group.nodes.size() > kJointBitLimit) return std::nullopt;
  auto copies = copies_in_order(plan, group);
  if (!copies) return std::nullopt;
  system.copies = *std::move(copies);
  std::size_t equations = 0;
  for (const std::size_t index : group.nodes) {
    const PlanNode& node = plan.nodes[index];
    if (!is_affine(plan, node)) return std::nullopt;
    if (node.is_copy) continue;
    equations += equations_of(checksum_of(plan, node));
    for (const Place& place : node.writes) {
      if (8 * place.range.size() > kJointBitLimit) return std::nullopt;
      for (std::uint64_t address = place.range.begin; address < place.range.end; ++address) {
        for (int bit = 0; bit < 8; ++bit) system.unknowns.push_back({place.memory, address, bit});
      }
    }
    if (system.unknowns.size() > kJointBitLimit || equations > kJointBitLimit) return std::nullopt;
  }
  std::vector<BitVector> columns(system.unknowns.size(), BitVector(equations));
  Effects effects(plan, system);
  std::size_t first = 0;
  for (const std::size_t index : group.nodes) {
    const PlanNode& node = plan.nodes[index];
    if (node.is_copy) continue;
    const Checksum& checksum = checksum_of(plan, node);
    const std::vector<Effects::OfByte> changes = effects.on(checksum, node.message);
    for (std::size_t i = 0; i < system.unknowns.size(); ++i) {
      const JointSystem::Unknown& unknown = system.unknowns[i];
      const std::uint64_t change = changes[i / 8][i % 8];
      add_value_change(columns[i], first, checksum, change);
      if (!checksum.rule) {
        std::size_t at = first;
        for (const Slot& slot : checksum.slots) {
          if (slot.place.memory == unknown.memory && slot.place.range.contains(unknown.address)) {
            const std::size_t own = at +
                                    8 * static_cast<std::size_t>(unknown.address - slot.place.range.begin) +
                                    static_cast<std::size_t>(unknown.bit);
            columns[i].set(own, !columns[i].get(own));
          }
          at += 8 * static_cast<std::size_t>(slot.place.range.size());
        }
      }
    }
    first += equations_of(checksum);
  }
  system.linear = Gf2System(columns, equations);
  system.solvable = system.linear.rank() == equations;
  system.unique = system.linear.rank() == columns.size();
  return system;
}

bool solve_joint_system(const Plan& plan, const PlanGroup& group, const JointSystem& system, Image& image) {
  apply_copies(plan, system.copies, image);
  BitVector residual(system.linear.equations());
  std::size_t first = 0;
  for (const std::size_t index : group.nodes) {
    const PlanNode& node = plan.nodes[index];
    if (node.is_copy) continue;
    const Checksum& checksum = checksum_of(plan, node);
    const CheckValue value = compute_value(plan, node, image);
    if (checksum.rule) {
      const std::uint64_t difference =
          (value.number ^ unfinish_number(checksum, checksum.rule->equals)) & low_mask(checksum.bits);
      add_value_change(residual, first, checksum, difference);
    } else {
      std::size_t at = first;
      for (const Slot& slot : checksum.slots) {
        Bytes bytes = encode_slot(checksum.algorithm, slot, finish_value(checksum, value));
        const ByteView stored = image.memories[slot.place.memory].view(slot.place.range);
        for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] ^= stored[i];
        set_bits(residual, at, bytes);
        at += 8 * bytes.size();
      }
    }
    first += equations_of(checksum);
  }
  const auto solution = system.linear.solve(residual);
  if (!solution) return false;
  for (std::size_t i = 0; i < system.unknowns.size(); ++i) {
    if (!solution->values.get(i)) continue;
    const JointSystem::Unknown& unknown = system.unknowns[i];
    image.memories[unknown.memory].span({unknown.address, unknown.address + 1})[0] ^=
        static_cast<std::uint8_t>(1U << unknown.bit);
  }
  apply_copies(plan, system.copies, image);
  return true;
}

}  // namespace calseal
