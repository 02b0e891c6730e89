#include "calseal/study/damage.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/image/entropy.h"

namespace calseal {
namespace {

constexpr std::uint64_t kAlignment = 256;   // reads come in blocks of this or a multiple
constexpr std::uint64_t kLeastRun = 256;    // bytes of one value or short period, or found twice
constexpr std::uint64_t kLongRun = 2048;    // the same with one loose end, which an empty table may be
constexpr std::uint64_t kLongRepeat = 512;  // bytes found twice, with loose ends
constexpr std::uint64_t kChance = 4;        // bytes by which neighbours may carry a run on
constexpr std::uint64_t kHashBlock = 64;
constexpr std::size_t kNoiseBlock = 1024;
constexpr double kNoisy = 7.6;   // 1 KiB of random bytes: about 7.81 bits per byte
constexpr double kNormal = 7.2;  // a region whose median is above this is expected to look random

struct Row {
  std::string_view name, meaning, advice;
};
constexpr std::array<Row, 15> kRows = {{
    {"truncated", "the file ends before the memory does", "read the controller again, to the end"},
    {"padded", "the file goes on after the memory ends, with bytes that the memory does not have",
     "read again with the right size; do not cut the file by hand"},
    {"blank", "a stretch that should hold something is erased or zero, and a checksum over it fails",
     "read again: a block was skipped or refused"},
    {"stuck", "a stretch repeats one short pattern, and a checksum over it fails",
     "read again: the link or the reader stood still there"},
    {"repeated", "a stretch stands twice, and a checksum over one of them fails",
     "read again: a block was sent or stored twice"},
    {"mirrored", "the bytes repeat as a whole: the size was guessed wrong, or an address line stands still",
     "find out the memory's real size, then read again"},
    {"shifted", "the content does not stand where it belongs: bytes were lost or added before it",
     "read again; do not move the bytes by hand"},
    {"swapped-16", "the bytes of every 16-bit word are exchanged",
     "set the reader to 8-bit order and read again"},
    {"swapped-32", "the bytes of every 32-bit word are reversed",
     "set the reader to 8-bit order and read again"},
    {"second-image", "a second image of a known family stands inside the file",
     "find out which of them is this controller's; read again"},
    {"noise", "a stretch looks random where its neighbours do not, and a checksum over it fails",
     "read again: the link was disturbed, or this part is read out encrypted"},
    {"gaps", "the record file leaves out addresses inside a part that it holds", "read again, whole"},
    {"opaque", "nearly all of the file looks random: encrypted or compressed",
     "export the read unwrapped; nothing can be judged through this wrapping"},
    {"one-byte", "one byte, put otherwise, makes the failing checksum hold",
     "read again; if a second read has the same byte there, the controller holds it so"},
    {"unexplained", "checks fail and none of the known kinds of damage is seen",
     "read again; if a second read is the same, somebody changed this controller, or the map is wrong"},
}};

struct Stretch {
  DamageKind kind;
  Range range;
  std::string found;
  bool padding = false;  // a blank up to its region's end, as regions are padded
  bool aligned() const { return range.begin % kAlignment == 0 && range.end % kAlignment == 0; }
};

class Search {
 public:
  explicit Search(const DamageSearch& search)
      : search_(search), origin_(search.map->memories[search.memory].extent.begin) {}

  std::vector<Stretch> run() {
    for (const Range& region : stretches()) {
      for (const Range& part : search_.suspect.within(region).ranges()) constants(part, region);
    }
    noise();
    repeats();
    // Unused memory between regions is blank in a sound read too: it counts where no region shows anything.
    const auto outside = [&](const Stretch& stretch) { return !is_in_region(stretch.range); };
    if (!std::ranges::all_of(found_, outside)) std::erase_if(found_, outside);
    std::ranges::stable_sort(found_, [](const Stretch& a, const Stretch& b) {
      // Code and packed data look random too.
      const bool a_noise = a.kind == DamageKind::kNoise, b_noise = b.kind == DamageKind::kNoise;
      if (a_noise != b_noise) return b_noise;
      if (a.aligned() != b.aligned()) return a.aligned();
      if (a.padding != b.padding) return b.padding;
      // A block that came twice may well hold a blank of its own.
      const bool a_twice = a.kind == DamageKind::kRepeated, b_twice = b.kind == DamageKind::kRepeated;
      if (a_twice != b_twice) return a_twice;
      return a.range.size() > b.range.size();
    });
    // Beside whole blocks, stretches with loose ends are the image's own.
    if (!found_.empty() && found_.front().aligned()) {
      std::erase_if(found_, [](const Stretch& stretch) { return !stretch.aligned(); });
    }
    return std::move(found_);
  }

 private:
  // Regions, without those that the vehicle writes, and what lies between them: a check may read that too.
  std::vector<Range> stretches() const {
    std::vector<Range> list;
    RangeSet rest(search_.map->memories[search_.memory].extent);
    for (const Region& region : search_.map->regions) {
      if (region.place.memory != search_.memory) continue;
      rest.remove(region.place.range);
      if (region.policy != Policy::kVolatile) list.push_back(region.place.range);
    }
    list.insert(list.end(), rest.ranges().begin(), rest.ranges().end());
    return list;
  }

  bool is_in_region(Range range) const {
    return std::ranges::any_of(search_.map->regions, [&](const Region& region) {
      return region.place.memory == search_.memory && region.place.range.overlaps(range);
    });
  }

  std::uint8_t at(std::uint64_t address) const {
    return search_.bytes[static_cast<std::size_t>(address - origin_)];
  }
  ByteView view(Range range) const {
    return search_.bytes.subspan(static_cast<std::size_t>(range.begin - origin_),
                                 static_cast<std::size_t>(range.size()));
  }

  // Runs of one value, then of periods up to 16.
  void constants(Range part, Range region) {
    RangeSet taken;
    for (const std::uint64_t period : {1U, 2U, 4U, 8U, 16U}) {
      std::uint64_t begin = part.begin;
      for (std::uint64_t i = part.begin + period; i <= part.end; ++i) {
        if (i < part.end && at(i) == at(i - period)) continue;
        const Range run = snapped({begin, i});
        if (run.size() >= kLeastRun && !taken.overlaps(run) && is_block(run, region)) {
          taken.add(run);
          add_run(run, region, period);
        }
        begin = i + 1 - period;
      }
    }
  }

  // Padding and empty tables begin and end anywhere; a block of a read does not.
  static bool is_block(Range run, Range region) {
    const bool begins = run.begin % kAlignment == 0, ends = run.end % kAlignment == 0;
    return (begins && ends) || ((begins || (ends && run.end != region.end)) && run.size() >= kLongRun);
  }

  void add_run(Range run, Range region, std::uint64_t period) {
    const std::uint8_t value = at(run.begin);
    const std::uint8_t fill = search_.map->memories[search_.memory].fill;
    const bool blank = period == 1 && (value == 0x00 || value == 0xff || value == fill);
    found_.push_back({blank ? DamageKind::kBlank : DamageKind::kStuck, run,
                      bytes_text(run.size()) + " of " + hex_excerpt(view({run.begin, run.begin + period})),
                      blank && run.end == region.end && run.begin != region.begin});
  }

  // Inward to the alignment when that takes off no more than a few bytes.
  static Range snapped(Range run) {
    const std::uint64_t begin = (run.begin + kAlignment - 1) / kAlignment * kAlignment;
    const std::uint64_t end = run.end / kAlignment * kAlignment;
    Range out = run;
    if (begin - run.begin <= kChance && begin < run.end) out.begin = begin;
    if (run.end - end <= kChance && end > out.begin) out.end = end;
    return out;
  }

  // What is normal is the median over this memory.
  void noise() {
    std::vector<double> all;
    std::vector<Range> noisy;
    for (const Range& range : stretches()) {
      for (std::uint64_t a = range.begin; a + kNoiseBlock <= range.end; a += kNoiseBlock) {
        const Range block{a, a + kNoiseBlock};
        const double bits = entropy(view(block));
        all.push_back(bits);
        if (bits <= kNoisy || !search_.suspect.contains(block)) continue;
        if (!noisy.empty() && noisy.back().end == a) {
          noisy.back().end = block.end;
        } else {
          noisy.push_back(block);
        }
      }
    }
    if (noisy.empty()) return;
    const auto middle = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
    std::ranges::nth_element(all, middle);
    if (*middle > kNormal) return;
    for (const Range& block : noisy) {
      found_.push_back({DamageKind::kNoise, block, bytes_text(block.size()) + " that look random", false});
    }
  }

  // As far as the bytes still agree on both sides, blanks included; to the alignment when that is near.
  Range extended(Range later, std::uint64_t distance) const {
    const std::uint64_t end = origin_ + search_.bytes.size();
    while (later.begin - distance > origin_ && at(later.begin - 1) == at(later.begin - 1 - distance))
      --later.begin;
    while (later.end < end && at(later.end) == at(later.end - distance)) ++later.end;
    return snapped(later);
  }

  bool is_plain(std::uint64_t address) const {  // neither constant nor of a short period
    const ByteView block = view({address, address + kHashBlock});
    for (const std::size_t period : {1U, 2U, 4U, 8U, 16U}) {
      if (std::ranges::equal(block.subspan(period), block.first(block.size() - period))) return false;
    }
    return true;
  }

  bool is_copy(Range a, Range b) const {
    return std::ranges::any_of(search_.map->copies, [&](const Copy& copy) {
      if (copy.to.memory != search_.memory || copy.of.memory != search_.memory) return false;
      const Range to = copy.to.range, of = copy.of.range;
      return (to.overlaps(a) && of.overlaps(b)) || (to.overlaps(b) && of.overlaps(a));
    });
  }

  void repeats() {
    std::vector<std::pair<std::uint64_t, std::uint64_t>> blocks;  // hash, address
    for (std::uint64_t a = origin_; a + kHashBlock <= origin_ + search_.bytes.size(); a += kHashBlock) {
      if (is_plain(a))
        blocks.emplace_back(std::hash<std::string_view>{}(text_of(view({a, a + kHashBlock}))), a);
    }
    std::ranges::sort(blocks);
    std::vector<std::pair<std::uint64_t, std::uint64_t>> pairs;  // distance, address of the later
    for (std::size_t i = 1; i < blocks.size(); ++i) {
      if (blocks[i].first != blocks[i - 1].first) continue;
      const std::uint64_t a = blocks[i - 1].second, b = blocks[i].second;
      if (!std::ranges::equal(view({a, a + kHashBlock}), view({b, b + kHashBlock}))) continue;
      pairs.emplace_back(b - a, b);
    }
    std::ranges::sort(pairs);
    for (std::size_t i = 0; i < pairs.size();) {
      const auto [distance, first] = pairs[i];
      Range later{first, first + kHashBlock};
      for (++i; i < pairs.size() && pairs[i].first == distance && pairs[i].second == later.end; ++i) {
        later.end += kHashBlock;
      }
      later = extended(later, distance);
      const Range earlier{later.begin - distance, later.end - distance};
      const bool suspected = search_.suspect.contains(later) || search_.suspect.contains(earlier);
      const bool aligned = later.begin % kAlignment == 0 && later.end % kAlignment == 0;
      if (later.size() < (aligned ? kLeastRun : kLongRepeat)) continue;
      if (!suspected || is_copy(earlier, later)) continue;
      found_.push_back({DamageKind::kRepeated, later, "the same bytes as at " + range_text(earlier), false});
    }
  }

  const DamageSearch& search_;
  std::uint64_t origin_;
  std::vector<Stretch> found_;
};

}  // namespace

std::string_view damage_name(DamageKind kind) { return kRows[static_cast<std::size_t>(kind)].name; }
std::string_view damage_meaning(DamageKind kind) { return kRows[static_cast<std::size_t>(kind)].meaning; }
std::string_view damage_advice(DamageKind kind) { return kRows[static_cast<std::size_t>(kind)].advice; }

Bytes swapped(ByteView bytes, std::size_t group) {
  Bytes out(bytes.begin(), bytes.end());
  for (std::size_t i = 0; i + group <= out.size(); i += group) {
    std::reverse(out.begin() + static_cast<std::ptrdiff_t>(i),
                 out.begin() + static_cast<std::ptrdiff_t>(i + group));
  }
  return out;
}

std::optional<std::uint64_t> mirror_period(ByteView bytes) {
  constexpr std::size_t kLeast = 256;
  std::optional<std::uint64_t> least;
  for (std::size_t parts = 2; parts <= 64; parts *= 2) {
    const std::size_t period = bytes.size() / parts;
    if (bytes.size() % parts != 0 || period < kLeast) break;
    if (!std::ranges::equal(bytes.subspan(period), bytes.first(bytes.size() - period))) break;
    least = period;
  }
  const bool constant = std::ranges::all_of(bytes, [&](std::uint8_t byte) { return byte == bytes.front(); });
  return constant ? std::nullopt : least;
}

std::vector<Damage> find_damage(const DamageSearch& search) {
  std::vector<Damage> damage;
  for (Stretch& stretch : Search(search).run()) {
    const Place place{search.memory, stretch.range};
    damage.push_back({stretch.kind, place_text(*search.map, place), std::move(stretch.found), place});
  }
  return damage;
}

}  // namespace calseal
