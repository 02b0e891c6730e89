#include "calseal/study/one_byte.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <unordered_map>
#include <vector>

#include "calseal/map/value.h"

namespace calseal {
namespace {

// What a CRC's value changes by, moved one byte away from the message's end; and back, which is what is
// applied here, byte for byte from the end of the message to its beginning.
class BackOneByte {
 public:
  explicit BackOneByte(const CrcParameters& parameters) : linear_(without_constants(parameters)) {
    // Linear over GF(2): the images of single bits make a matrix, inverted by elimination.
    std::vector<std::pair<std::uint64_t, std::uint64_t>> rows;  // image, what gives it
    for (int bit = 0; bit < parameters.width; ++bit)
      rows.emplace_back(linear_.combine(std::uint64_t{1} << bit, 0, 1), std::uint64_t{1} << bit);
    for (int bit = 0; bit < parameters.width; ++bit) {
      const std::uint64_t mask = std::uint64_t{1} << bit;
      const auto pivot = std::find_if(rows.begin() + bit, rows.end(),
                                      [&](const auto& row) { return (row.first & mask) != 0; });
      std::iter_swap(rows.begin() + bit, pivot);  // there is one: the polynomial is odd
      for (int other = 0; other < parameters.width; ++other) {
        auto& row = rows[static_cast<std::size_t>(other)];
        if (other == bit || (row.first & mask) == 0) continue;
        row.first ^= rows[static_cast<std::size_t>(bit)].first;
        row.second ^= rows[static_cast<std::size_t>(bit)].second;
      }
    }
    for (std::size_t byte = 0; byte < tables_.size(); ++byte) {
      for (unsigned value = 0; value < 256; ++value) {
        for (std::size_t bit = 0; bit < 8; ++bit) {
          if ((value >> bit & 1U) != 0 && byte * 8 + bit < rows.size())
            tables_[byte][value] ^= rows[byte * 8 + bit].second;
        }
      }
    }
  }

  std::uint64_t operator()(std::uint64_t change) const {
    std::uint64_t out = 0;
    for (std::size_t byte = 0; change != 0; ++byte, change >>= 8) out ^= tables_[byte][change & 0xff];
    return out;
  }
  // Of the last byte of a message changed by `change`.
  std::uint64_t effect(std::uint8_t change) const { return linear_.compute(Bytes{change}); }

 private:
  static CrcParameters without_constants(CrcParameters parameters) {
    parameters.init = parameters.xorout = 0;
    return parameters;
  }
  Crc linear_;
  std::array<std::array<std::uint64_t, 256>, 8> tables_{};
};

// The value that the algorithm must give; nothing when no single slot or rule has all of it.
std::optional<std::uint64_t> wanted_value(const Checksum& checksum, const Image& image) {
  if (checksum.bits != algorithm_bits(checksum.algorithm)) return std::nullopt;
  if (checksum.rule) return unfinish_number(checksum, checksum.rule->equals);
  for (const Slot& slot : checksum.slots) {
    const Memory& memory = image.memories[slot.place.memory];
    if (slot.encoding != SlotEncoding::kBinary || slot.from != 0 || slot.bits != checksum.bits ||
        !memory.knows(slot.place.range))
      continue;
    std::uint64_t stored = decode_word(memory.view(slot.place.range), slot.order);
    const std::uint64_t mask =
        checksum.bits == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << checksum.bits) - 1;
    if (slot.transform == SlotTransform::kComplement) stored = ~stored & mask;
    if (slot.transform != SlotTransform::kPlain && slot.transform != SlotTransform::kComplement) continue;
    if ((stored & ~mask) != 0) continue;
    return unfinish_number(checksum, stored);
  }
  return std::nullopt;
}

// The byte of a memory at an offset of the message; nothing for literals and constants.
std::optional<OneByte> byte_at(const PlanNode& node, int swap, std::uint64_t offset) {
  const auto& pieces = node.message.pieces();
  auto piece = std::ranges::upper_bound(pieces, offset, {}, &MessagePiece::offset);
  if (piece == pieces.begin()) return std::nullopt;
  --piece;
  if (piece->kind != MessagePiece::Kind::kMemory) return std::nullopt;
  const std::uint64_t lane = swap == 16 ? 1 : swap == 32 ? 3 : 0;
  return OneByte{piece->memory, (piece->address + (offset - piece->offset)) ^ lane, 0, 1};
}

}  // namespace

std::optional<OneByte> find_one_byte(const Plan& plan, const PlanNode& node, const Image& image) {
  if (node.is_copy || !node.message.is_known(image)) return std::nullopt;
  const Checksum& checksum = plan.map->checksums[node.index];
  if (checksum.algorithm.kind != AlgorithmKind::kCrc) return std::nullopt;
  const auto wanted = wanted_value(checksum, image);
  if (!wanted) return std::nullopt;
  const std::uint64_t length = node.message.length();
  const double per_value = static_cast<double>(length) * std::pow(2.0, -checksum.bits);
  if (8 * per_value > kOneBitChance) return std::nullopt;
  const bool any_change = 255 * per_value <= kOneByteChance;
  const BackOneByte back(checksum.algorithm.crc);
  std::unordered_map<std::uint64_t, std::uint8_t> effects;
  std::vector<bool> filter(std::size_t{1} << 16);
  for (unsigned change = 1; change < 256; ++change) {
    if (!any_change && std::popcount(change) != 1) continue;
    const std::uint64_t effect = back.effect(static_cast<std::uint8_t>(change));
    effects[effect] = static_cast<std::uint8_t>(change);
    filter[effect & 0xffff] = true;
  }
  std::vector<std::pair<std::uint64_t, std::uint8_t>> bits, bytes;  // offset, change
  std::uint64_t change = *wanted ^ compute_value(plan, node, image).number;
  for (std::uint64_t offset = length; offset-- > 0; change = back(change)) {
    if (!filter[change & 0xffff]) continue;
    const auto hit = effects.find(change);
    if (hit == effects.end() || !byte_at(node, checksum.swap, offset)) continue;
    (std::popcount(hit->second) == 1 ? bits : bytes).emplace_back(offset, hit->second);
  }
  const auto& hits = bits.empty() ? bytes : bits;
  if (hits.size() != 1) return std::nullopt;
  OneByte found = *byte_at(node, checksum.swap, hits.front().first);
  const Range place{found.address, found.address + 1};
  found.right = static_cast<std::uint8_t>(image.memories[found.memory].view(place)[0] ^ hits.front().second);
  found.chance = (bits.empty() ? 255 : 8) * per_value;
  return found;
}

std::vector<OneByte> bits_pointed_to(const Plan& plan, const PlanNode& node, const Image& image,
                                     std::size_t most) {
  std::vector<OneByte> found;
  if (node.is_copy || !node.message.is_known(image)) return found;
  const Checksum& checksum = plan.map->checksums[node.index];
  if (checksum.algorithm.kind != AlgorithmKind::kCrc) return found;
  const auto wanted = wanted_value(checksum, image);
  if (!wanted) return found;
  const BackOneByte back(checksum.algorithm.crc);
  std::unordered_map<std::uint64_t, std::uint8_t> effects;
  for (unsigned bit = 0; bit < 8; ++bit) {
    const auto change = static_cast<std::uint8_t>(1U << bit);
    effects[back.effect(change)] = change;
  }
  std::uint64_t change = *wanted ^ compute_value(plan, node, image).number;
  for (std::uint64_t offset = node.message.length(); offset-- > 0; change = back(change)) {
    const auto hit = effects.find(change);
    if (hit == effects.end()) continue;
    auto place = byte_at(node, checksum.swap, offset);
    if (!place) continue;
    if (found.size() == most) return {};
    const Range at{place->address, place->address + 1};
    place->right = static_cast<std::uint8_t>(image.memories[place->memory].view(at)[0] ^ hit->second);
    found.push_back(*place);
  }
  return found;
}

}  // namespace calseal
