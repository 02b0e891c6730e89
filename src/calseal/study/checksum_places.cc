#include "calseal/study/checksum_places.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <string>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/map/plan.h"
#include "calseal/map/segments.h"
#include "calseal/map/verify.h"

namespace calseal {
namespace {

constexpr int kSearchedBits = 32;           // a shorter value stands somewhere by chance
constexpr std::size_t kCoverageTries = 64;  // ways to lay one coverage
constexpr std::uint64_t kNearby = 256;      // bytes from where a slot was, in which a short value is sought
constexpr std::uint64_t kEndsPerByte = 4;   // every end is tried up to so many times the old size

// A choice of one range for every place.
struct Choice {
  std::vector<Range> coverage, substitutes, slots;
};

Range moved(Range range, Range from, Range to) {
  // Modulo 2^64, as addresses go down as well as up.
  return {range.begin + (to.begin - from.begin), range.end + (to.end - from.end)};
}

class Finder {
 public:
  Finder(const RegionMap& map, const SoughtChecksum& sought, const Image& image, std::uint64_t& budget)
      : sought_(sought), image_(image), budget_(budget) {
    trial_.name = map.name;
    trial_.memories = map.memories;
    const Checksum& first = *sought.instances.front();
    bits_ = std::min(first.bits, algorithm_bits(first.algorithm)) * static_cast<int>(sought.instances.size());
  }

  std::optional<FoundChecksum> run() {
    const Choice likeliest{firsts(sought_.coverage), firsts(sought_.substitutes), firsts(sought_.slots)};
    if (holds(likeliest)) return found(likeliest);
    for (const std::vector<Range>& coverage : coverages()) {
      if (auto one = with_slots(coverage, coverage == likeliest.coverage)) return one;
    }
    return sought_.every_end ? with_every_end(likeliest) : std::nullopt;
  }

 private:
  static std::vector<Range> firsts(const std::vector<SoughtPlace>& places) {
    std::vector<Range> ranges;
    for (const SoughtPlace& place : places) ranges.push_back(place.candidates.front());
    return ranges;
  }

  // The likeliest, then other ways: one range every way that it may lie, several by moves that all can make.
  std::vector<std::vector<Range>> coverages() const {
    std::vector<std::vector<Range>> all = {firsts(sought_.coverage)};
    if (sought_.coverage.empty()) return all;
    for (const Range& lead : sought_.coverage.front().candidates) {
      if (all.size() >= kCoverageTries) break;
      std::vector<Range> one = {lead};
      const Range from = sought_.coverage.front().old.range;
      for (std::size_t i = 1; i < sought_.coverage.size(); ++i)
        one.push_back(moved(sought_.coverage[i].old.range, from, {lead.begin, lead.begin + from.size()}));
      if (std::ranges::find(all, one) == all.end()) all.push_back(std::move(one));
    }
    return all;
  }

  bool exists(std::size_t memory, Range range) const {
    const Range extent = trial_.memories[memory].extent;
    return range.begin >= extent.begin && range.begin < range.end && range.end <= extent.end &&
           segments_of(trial_.memories[memory]).contains(range) && image_.memories[memory].knows(range);
  }

  // The checksum's instances at other places; false when one of these does not exist.
  bool lay(const Choice& choice) {
    trial_.checksums.clear();
    for (const Checksum* instance : sought_.instances) {
      Checksum one = *instance;
      const auto move = [&](const SoughtPlace& from, Range to, std::size_t memory, Range& range) {
        range = moved(range, from.old.range, to);
        return exists(memory, range);
      };
      std::size_t at = 0;
      for (Coverage& piece : one.coverage) {
        if (auto* range = std::get_if<CoverageRange>(&piece)) {
          const SoughtPlace& from = sought_.coverage[at];
          if (!move(from, choice.coverage[at++], range->place.memory, range->place.range)) return false;
        } else if (auto* table = std::get_if<CoverageTable>(&piece)) {
          const SoughtPlace& from = sought_.coverage[at];
          table->table.at += choice.coverage[at++].begin - from.old.range.begin;
          const DescriptorTable& t = table->table;
          if (!exists(t.memory, {t.at, t.at + t.records * t.record_size})) return false;
        }
      }
      for (std::size_t i = 0; i < one.substitutes.size(); ++i) {
        Place& place = one.substitutes[i].place;
        if (!move(sought_.substitutes[i], choice.substitutes[i], place.memory, place.range)) return false;
      }
      for (std::size_t i = 0; i < one.slots.size(); ++i) {
        Place& place = one.slots[i].place;
        if (!move(sought_.slots[i], choice.slots[i], place.memory, place.range)) return false;
      }
      if (one.rule && one.rule->balance) {
        Place& place = *one.rule->balance;
        if (!move(sought_.slots.front(), choice.slots.front(), place.memory, place.range)) return false;
      }
      trial_.checksums.push_back(std::move(one));
    }
    return true;
  }

  bool is_constant(const PlanNode& node) const {
    std::optional<std::uint8_t> value;
    for (std::size_t m = 0; m < node.reads.size(); ++m) {
      for (const Range& range : node.reads[m].ranges()) {
        for (const std::uint8_t byte : image_.memories[m].view(range)) {
          if (value.value_or(byte) != byte) return false;
          value = byte;
        }
      }
    }
    return true;
  }

  // What every instance is there; nothing when the checksum cannot lie so.
  std::optional<std::vector<CheckOutcome>> judged(const Choice& choice) {
    if (!lay(choice)) return std::nullopt;
    const Result<Plan> plan = make_plan(trial_, image_);
    if (!plan) return std::nullopt;
    std::uint64_t bytes = 4096;
    for (const PlanNode& node : plan->nodes) bytes += node.message.length();
    longest_ = std::max(longest_, bytes);
    if (bytes > budget_) {
      budget_ = 0;
      return std::nullopt;
    }
    budget_ -= bytes;
    if (std::ranges::any_of(plan->nodes, [&](const PlanNode& node) { return is_constant(node); }))
      return std::nullopt;
    return verify_checks(*plan, image_);
  }

  bool holds(const Choice& choice) {
    ++tries_;
    const auto outcomes = judged(choice);
    return outcomes && !is_blank(choice.slots) &&
           std::ranges::all_of(
               *outcomes, [](const CheckOutcome& outcome) { return outcome.state == CheckState::kHolds; });
  }

  // Erased slots: a value that fits them fits every gap.
  bool is_blank(const std::vector<Range>& slots) const {
    for (const std::uint8_t blank : {std::uint8_t{0x00}, std::uint8_t{0xff}}) {
      bool all = !slots.empty();
      for (std::size_t i = 0; i < slots.size(); ++i) {
        all = all && std::ranges::all_of(image_.memories[sought_.slots[i].old.memory].view(slots[i]),
                                         [&](std::uint8_t byte) { return byte == blank; });
      }
      if (all) return true;
    }
    return false;
  }

  // Sums of words lie close together: as many words of u bits as a message has give values that spread over
  // sqrt(words) * 2^u / 2 or so.
  int bits_that_tell() const {
    const Algorithm& algorithm = sought_.instances.front()->algorithm;
    if (algorithm.kind != AlgorithmKind::kSum || algorithm.sum.operation == SumOperation::kXor) return bits_;
    const auto instances = static_cast<int>(sought_.instances.size());
    const double words = static_cast<double>(longest_) / instances / (algorithm.sum.unit / 8);
    const int told = static_cast<int>(std::log2(std::max(words, 1.0)) / 2) + algorithm.sum.unit - 1;
    return std::min(bits_, told * instances);
  }

  FoundChecksum found(const Choice& choice) {
    FoundChecksum out;
    out.coverage = choice.coverage;
    out.substitutes = choice.substitutes;
    out.slots = choice.slots;
    out.bits = bits_that_tell();
    out.chance = std::min(1.0, static_cast<double>(tries_) * std::pow(2.0, -out.bits));
    out.first = tries_ == 1;
    out.balance_only = sought_.instances.front()->rule.has_value();
    const std::uint64_t before = tries_;
    out.edges_matter = edges_matter(choice);
    tries_ = before;
    return out;
  }

  // Leading zeros do not change a sum, nor some CRCs: then the value says nothing about where it begins.
  bool edges_matter(const Choice& choice) {
    for (std::size_t i = 0; i < choice.coverage.size(); ++i) {
      if (sought_.coverage[i].is_table) continue;
      for (const std::uint64_t by : {1U, 2U, 4U, 8U}) {
        for (int which = 0; which < 4; ++which) {
          Choice other = choice;
          Range& range = other.coverage[i];
          if (which == 0) range.begin -= by;
          if (which == 1) range.begin += by;
          if (which == 2) range.end -= by;
          if (which == 3) range.end += by;
          if (range.begin < range.end && holds(other)) return false;
        }
      }
    }
    return true;
  }

  // Substitutes that stand for slots go where those go, others with the first range.
  std::vector<Range> substitutes_for(const std::vector<Range>& coverage,
                                     const std::vector<Range>& slots) const {
    std::vector<Range> out;
    for (const SoughtPlace& place : sought_.substitutes) {
      Range to = place.candidates.front();
      bool is_slot = false;
      for (std::size_t i = 0; i < sought_.slots.size(); ++i) {
        const Place& slot = sought_.slots[i].old;
        if (slot.memory != place.old.memory || !slot.range.overlaps(place.old.range)) continue;
        to = moved(place.old.range, slot.range, slots[i]);
        is_slot = true;
      }
      if (!is_slot && !coverage.empty()) {
        const Range from = sought_.coverage.front().old.range;
        to = moved(place.old.range, from, {coverage.front().begin, coverage.front().begin + from.size()});
      }
      out.push_back(to);
    }
    return out;
  }

  std::vector<Range> slots_by(std::uint64_t by) const {
    std::vector<Range> out;
    for (const SoughtPlace& slot : sought_.slots)
      out.push_back({slot.old.range.begin + by, slot.old.range.end + by});
    return out;
  }

  // All slots move alike: as the first one may have moved, or with either end of the coverage.
  std::vector<std::uint64_t> slot_moves(const std::vector<Range>& coverage) const {
    std::vector<std::uint64_t> moves;
    const auto add = [&](std::uint64_t by) {
      if (std::ranges::find(moves, by) == moves.end()) moves.push_back(by);
    };
    if (sought_.slots.empty()) return {0};
    const SoughtPlace& slot = sought_.slots.front();
    add(slot.candidates.front().begin - slot.old.range.begin);
    if (!coverage.empty() && sought_.coverage.front().old.memory == slot.old.memory) {
      add(coverage.back().end - sought_.coverage.back().old.range.end);
      add(coverage.front().begin - sought_.coverage.front().old.range.begin);
    }
    for (const Range& one : slot.candidates) add(one.begin - slot.old.range.begin);
    return moves;
  }

  std::optional<FoundChecksum> with_slots(const std::vector<Range>& coverage, bool likeliest) {
    const std::vector<std::uint64_t> moves = slot_moves(coverage);
    // The right value, as far as it does not depend on where the slots are.
    std::optional<std::string> computed;
    if (sought_.instances.size() == 1 && !sought_.slots.empty() && !sought_.instances.front()->rule) {
      const std::vector<Range> slots = firsts(sought_.slots);
      const auto outcomes = judged({coverage, substitutes_for(coverage, slots), slots});
      if (!outcomes) return std::nullopt;
      if (sought_.substitutes.empty()) computed = outcomes->front().computed;
      if (computed) std::erase(*computed, ' ');  // between slots
    }
    for (const std::uint64_t by : moves) {
      const std::vector<Range> slots = slots_by(by);
      if (computed && !stands(*computed, slots)) {
        ++tries_;
        continue;
      }
      const Choice choice{coverage, substitutes_for(coverage, slots), slots};
      if (holds(choice)) return found(choice);
    }
    if (!likeliest || !computed) return std::nullopt;
    return anywhere(coverage, *computed);
  }

  // Whether the slots hold these bytes.
  bool stands(const std::string& hex, const std::vector<Range>& slots) const {
    std::string there;
    for (std::size_t i = 0; i < slots.size(); ++i) {
      const std::size_t memory = sought_.slots[i].old.memory;
      if (!exists(memory, slots[i])) return false;
      there += to_hex(image_.memories[memory].view(slots[i]));
    }
    return there == hex;
  }

  // The only place where the right value stands: in the slot's memory, or near by when the value is short.
  std::optional<FoundChecksum> anywhere(const std::vector<Range>& coverage, const std::string& computed) {
    const SoughtPlace& first = sought_.slots.front();
    const Memory& memory = image_.memories[first.old.memory];
    const auto all = from_hex(computed);
    if (!all || all->size() < first.old.range.size()) return std::nullopt;
    const Bytes wanted(all->begin(), all->begin() + static_cast<std::ptrdiff_t>(first.old.range.size()));
    Range within = memory.extent;
    if (bits_ < kSearchedBits) {
      within.begin = std::max(within.begin, first.old.range.begin - std::min(first.old.range.begin, kNearby));
      within.end = std::min(within.end, first.old.range.end + kNearby);
    }
    if (within.size() > budget_) return std::nullopt;
    budget_ -= within.size();
    const ByteView bytes = memory.view(within);
    std::vector<std::vector<Range>> places;
    for (auto from = bytes.begin();; ++from) {
      from = std::search(from, bytes.end(), wanted.begin(), wanted.end());
      if (from == bytes.end() || places.size() > 1) break;
      const auto at = within.begin + static_cast<std::uint64_t>(from - bytes.begin());
      std::vector<Range> slots = slots_by(at - first.old.range.begin);
      if (stands(computed, slots)) places.push_back(std::move(slots));
    }
    tries_ += within.size();
    if (places.size() != 1) return std::nullopt;
    const Choice choice{coverage, substitutes_for(coverage, places.front()), places.front()};
    return holds(choice) ? std::optional(found(choice)) : std::nullopt;
  }

  // A range that begins where it is likeliest to and ends anywhere, over one pass: for a plain CRC in one
  // plain slot.
  std::optional<FoundChecksum> with_every_end(const Choice& likeliest) {
    const Checksum& checksum = *sought_.instances.front();
    const CrcParameters& parameters = checksum.algorithm.crc;
    const bool plain =
        checksum.algorithm.kind == AlgorithmKind::kCrc && sought_.instances.size() == 1 &&
        checksum.coverage.size() == 1 && sought_.coverage.size() == 1 && checksum.substitutes.empty() &&
        checksum.swap == 0 && checksum.complement == Complement::kNone && checksum.add == 0 &&
        checksum.slots.size() == 1 && sought_.slots.size() == 1 && checksum.bits == parameters.width &&
        checksum.bits >= kSearchedBits && checksum.bits % 8 == 0;
    if (!plain) return std::nullopt;
    const Slot& slot = checksum.slots.front();
    const auto size = static_cast<std::size_t>(checksum.bits / 8);
    if (slot.encoding != SlotEncoding::kBinary || slot.transform != SlotTransform::kPlain ||
        slot.place.range.size() != size)
      return std::nullopt;
    const Range old = sought_.coverage.front().old.range;
    const std::size_t m = sought_.coverage.front().old.memory;
    const std::uint64_t begin = likeliest.coverage.front().begin;
    const Memory& memory = image_.memories[m];
    const Memory& slots = image_.memories[slot.place.memory];
    const std::uint64_t last =
        std::min(memory.extent.end, begin + std::min(old.size() * kEndsPerByte, memory.extent.end - begin));
    if (begin >= last || last - begin > budget_) return std::nullopt;
    budget_ -= last - begin;
    const Crc crc(parameters);
    std::uint64_t state = crc.start();
    const auto value_at = [&](std::uint64_t address) -> std::optional<std::uint64_t> {
      if (!exists(slot.place.memory, {address, address + size})) return std::nullopt;
      const ByteView bytes = slots.view({address, address + size});
      std::uint64_t value = 0;
      for (std::size_t i = 0; i < size; ++i)
        value = value << 8 | bytes[slot.order == ByteOrder::kBig ? i : size - 1 - i];
      return value;
    };
    std::vector<std::pair<std::uint64_t, std::uint64_t>> fixed;  // value, address
    for (const Range& one : sought_.slots.front().candidates) {
      if (const auto value = value_at(one.begin)) fixed.emplace_back(*value, one.begin);
    }
    const bool along = slot.place.memory == m;
    for (std::uint64_t end = begin; end < last;) {
      if (!memory.known.contains(end)) return std::nullopt;
      state = crc.update(state, memory.view({end, end + 1}));
      ++end;
      tries_ += fixed.size() + 1;
      const std::uint64_t value = crc.finish(state);
      std::optional<std::uint64_t> at;
      for (const auto& [there, address] : fixed) {
        if (there == value) at = address;
      }
      const std::uint64_t behind = end + (slot.place.range.begin - old.end);
      if (!at && along && value_at(behind) == value) at = behind;
      if (!at) continue;
      const Choice choice{{{begin, end}}, {}, {{*at, *at + size}}};
      if (holds(choice)) return found(choice);
    }
    return std::nullopt;
  }

  RegionMap trial_;  // nothing but the memories and this checksum
  const SoughtChecksum& sought_;
  const Image& image_;
  std::uint64_t& budget_;
  std::uint64_t tries_ = 0;
  int bits_ = 32;
  std::uint64_t longest_ = 1;  // bytes of the longest message tried
};

}  // namespace

std::optional<FoundChecksum> find_checksum(const RegionMap& map, const SoughtChecksum& sought,
                                           const Image& image, std::uint64_t& budget) {
  return Finder(map, sought, image, budget).run();
}

}  // namespace calseal
