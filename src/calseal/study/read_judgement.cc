#include "calseal/study/read_judgement.h"

#include <algorithm>
#include <array>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/image/entropy.h"
#include "calseal/map/segments.h"
#include "calseal/study/one_bit.h"
#include "calseal/study/one_byte.h"

namespace calseal {
namespace {

constexpr int kVouchingBits = 16;        // a shorter value holds by chance too often to vouch for bytes
constexpr int kTellingBits = 32;         // of checks together: no chance
constexpr std::size_t kSplitLimit = 64;  // regions before which a shift is tried
constexpr std::size_t kLeastAnchor = 4;  // bytes that say where an image begins

// Offset in a raw file of a place inside the segments.
std::uint64_t file_offset(const MemoryDeclaration& memory, std::uint64_t address) {
  std::uint64_t before = 0;
  for (const Range& segment : memory.segments) {
    if (segment.contains(address)) return before + (address - segment.begin);
    before += segment.size();
  }
  return before;
}

// Lays a file's bytes into a memory from file offset `skip` of a whole file on; what is too much is left out.
void lay_from(const MemoryDeclaration& declared, std::uint64_t skip, ByteView bytes, Memory& memory) {
  memory.known = {};
  for (const Range& segment : declared.segments) {
    if (skip >= segment.size()) {
      skip -= segment.size();
      continue;
    }
    const std::uint64_t begin = segment.begin + skip;
    const std::uint64_t size = std::min<std::uint64_t>(segment.end - begin, bytes.size());
    skip = 0;
    std::ranges::copy(bytes.first(static_cast<std::size_t>(size)),
                      memory.span({begin, begin + size}).begin());
    memory.known.add({begin, begin + size});
    bytes = bytes.subspan(static_cast<std::size_t>(size));
  }
}

// The recognition rule's bytes of one memory, as offsets of a raw file.
class Anchors {
 public:
  Anchors(const RegionMap& map, std::size_t memory) {
    for (const Recognition::Match& match : map.recognition.all) {
      if (match.place.memory != memory) continue;
      const bool exact = std::ranges::all_of(match.mask, [](std::uint8_t byte) { return byte == 0xff; });
      anchors_.push_back({file_offset(map.memories[memory], match.place.range.begin), &match, exact});
      if (exact && match.bytes.size() >= kLeastAnchor) usable_ = true;
    }
  }
  bool usable() const { return usable_; }

  bool match_at(ByteView file, std::int64_t delta) const {
    return usable_ && std::ranges::all_of(anchors_, [&](const Anchor& anchor) {
             const std::int64_t at = static_cast<std::int64_t>(anchor.offset) + delta;
             const std::size_t size = anchor.match->bytes.size();
             if (at < 0 || static_cast<std::uint64_t>(at) + size > file.size()) return false;
             for (std::size_t i = 0; i < size; ++i) {
               const std::uint8_t byte = file[static_cast<std::size_t>(at) + i];
               if (((byte ^ anchor.match->bytes[i]) & anchor.match->mask[i]) != 0) return false;
             }
             return true;
           });
  }

  // Every shift but 0 at which the rule matches.
  std::vector<std::int64_t> shifts(ByteView file) const {
    std::vector<std::int64_t> found;
    const auto first = std::ranges::find_if(
        anchors_, [](const Anchor& a) { return a.exact && a.match->bytes.size() >= kLeastAnchor; });
    if (first == anchors_.end()) return found;
    auto from = file.begin();
    while (true) {
      from = std::search(from, file.end(), first->match->bytes.begin(), first->match->bytes.end());
      if (from == file.end()) return found;
      const std::int64_t delta = (from - file.begin()) - static_cast<std::int64_t>(first->offset);
      if (delta != 0 && match_at(file, delta)) found.push_back(delta);
      ++from;
    }
  }

 private:
  struct Anchor {
    std::uint64_t offset;
    const Recognition::Match* match;
    bool exact;
  };
  std::vector<Anchor> anchors_;
  bool usable_ = false;
};

// Whether all bytes that a check reads are one value, or there are none.
bool is_trivial(const PlanNode& node, const Image& image) {
  std::optional<std::uint8_t> value;
  for (std::size_t m = 0; m < node.reads.size(); ++m) {
    for (const Range& range : node.reads[m].ranges()) {
      for (const std::uint8_t byte : image.memories[m].view(range)) {
        if (value.value_or(byte) != byte) return false;
        value = byte;
      }
    }
  }
  return true;
}

// The size of groups with whose bytes exchanged checks of a memory hold that fail as it is: of 32 bits
// together at the least, which a shift would not bring about. 0: none.
std::size_t group_that_holds(const RegionMap& map, const ReadJudgement& read, std::size_t m) {
  if (!read.plan || !any_fails(read.checks)) return 0;
  for (const std::size_t group : {std::size_t{2}, std::size_t{4}}) {
    Image image = read.read.image;
    image.memories[m].bytes = swapped(image.memories[m].bytes, group);
    int bits = 0;
    for (const CheckOutcome& check : read.checks) {
      const PlanNode& node = read.plan->nodes[check.node];
      if (check.state != CheckState::kFails || check.is_copy || node.reads[m].empty()) continue;
      const bool holds = verify_check(*read.plan, check.node, image).state == CheckState::kHolds;
      if (holds && !is_trivial(node, image)) bits += map.checksums[node.index].bits;
    }
    if (bits >= kTellingBits) return group;
  }
  return 0;
}

// Checks that hold over nothing but equal bytes would hold in an erased controller too.
void note_trivial(ReadJudgement& read) {
  for (const CheckOutcome& check : read.checks) {
    const PlanNode& node = read.plan->nodes[check.node];
    if (check.state == CheckState::kHolds && !check.is_copy && is_trivial(node, read.read.image))
      read.limits.push_back(check.name + " holds over nothing but equal bytes, which proves nothing");
  }
}

// Whether a segment or a region begins or ends there.
bool is_edge(const RegionMap& map, std::size_t m, std::uint64_t address) {
  const auto edge_of = [&](const Range& range) { return range.begin == address || range.end == address; };
  return std::ranges::any_of(map.memories[m].segments, edge_of) ||
         std::ranges::any_of(map.regions, [&](const Region& region) {
           return region.place.memory == m && edge_of(region.place.range);
         });
}

// Bytes of a memory that failing checks read or keep, without those for which a check that holds vouches.
RangeSet suspect(const RegionMap& map, const ReadJudgement& read, std::size_t m,
                 const std::vector<CheckOutcome>& checks) {
  RangeSet set;
  for (const CheckOutcome& check : checks) {
    if (check.state != CheckState::kFails) continue;
    const PlanNode& node = read.plan->nodes[check.node];
    set.add(node.reads[m]);
    for (const Place& place : node.writes) {
      if (place.memory == m) set.add(place.range);
    }
  }
  for (const CheckOutcome& check : checks) {
    const PlanNode& node = read.plan->nodes[check.node];
    if (check.state != CheckState::kHolds || node.is_copy || is_trivial(node, read.read.image)) continue;
    if (map.checksums[node.index].bits >= kVouchingBits) set.remove(node.reads[m]);
  }
  return set.intersect(read.read.image.memories[m].known);
}

std::string software_number(const RegionMap& map, const Image& image) {
  for (const IdentityValue& value : read_identity(map, image)) {
    if (value.field->kind == IdentityKind::kSoftwareNumber && value.known) return value.text;
  }
  return "";
}

class Judge {
 public:
  Judge(const RegionMap& map, ReadJudgement& out) : map_(map), out_(out) {}

  // A file that is too short or too long for its memory, laid as far as it goes.
  void lay_as_far(const ReadFile& file, std::size_t memory) {
    const Bytes& bytes = file.bytes;
    lay_from(map_.memories[memory], 0, bytes, out_.read.image.memories[memory]);
    odd_sizes_.push_back({memory, &bytes});
  }

  void judge(const std::vector<KnownStock>& stocks) {
    verify();
    for (std::size_t m = 0; m < map_.memories.size(); ++m) misplaced(m);
    if (out_.plan) note_trivial(out_);
    for (const OddSize& odd : odd_sizes_) size_of(odd);
    for (std::size_t m = 0; m < map_.memories.size(); ++m) incomplete(m);
    if (out_.damage.empty() && any_fails(out_.checks)) {
      const std::vector<CheckOutcome> rest = one_byte();
      if (any_fails(rest)) content(rest);
      if (out_.damage.empty()) unexplained();
    }
    grade(stocks);
  }

 private:
  struct OddSize {
    std::size_t memory;
    const Bytes* bytes;
  };

  void add(DamageKind kind, std::string place, std::string found, std::optional<Place> at = std::nullopt) {
    out_.damage.push_back({kind, std::move(place), std::move(found), at});
  }
  void add_at(DamageKind kind, const Place& at, std::string found) {
    add(kind, place_text(map_, at), std::move(found), at);
  }
  void add_whole(DamageKind kind, std::size_t memory, std::string found) {
    const MemoryDeclaration& declared = map_.memories[memory];
    add(kind, declared.name, std::move(found), Place{memory, declared.extent});
  }
  const OddSize* odd(std::size_t memory) const {
    const auto at = std::ranges::find(odd_sizes_, memory, &OddSize::memory);
    return at == odd_sizes_.end() ? nullptr : &*at;
  }

  // Swaps, shifts, mirrors, second images: told by where the recognition rule matches.
  void misplaced(std::size_t m) {
    const Memory& memory = out_.read.image.memories[m];
    if (memory.known.empty()) return;
    const Bytes bytes = odd(m) ? *odd(m)->bytes : flat_bytes(map_.memories[m], memory);
    const std::string& name = map_.memories[m].name;
    const Anchors anchors(map_, m);
    if (!odd(m)) {
      if (const auto period = mirror_period(bytes)) {
        return add_whole(DamageKind::kMirrored, m, "everything repeats after " + bytes_text(*period));
      }
    }
    const std::vector<std::int64_t> shifts = anchors.shifts(bytes);
    if (anchors.match_at(bytes, 0)) {
      for (const std::int64_t shift : shifts) {
        if (is_second_image(m, bytes, shift)) {
          return add(DamageKind::kSecondImage,
                     name + ", file offset " + grouped(static_cast<std::uint64_t>(shift)),
                     "the bytes that " + map_.name + " is recognised by");
        }
      }
      return;
    }
    if (const std::size_t group = odd(m) == nullptr ? group_that_holds(map_, out_, m) : 0; group != 0) {
      return add_whole(group == 2 ? DamageKind::kSwapped16 : DamageKind::kSwapped32, m,
                       "checks hold with every " + std::to_string(group) + " bytes " +
                           (group == 2 ? "exchanged" : "reversed"));
    }
    if (anchors.match_at(swapped(bytes, 2), 0)) {
      return add_whole(DamageKind::kSwapped16, m, "recognised with every 2 bytes exchanged");
    }
    if (anchors.match_at(swapped(bytes, 4), 0)) {
      return add_whole(DamageKind::kSwapped32, m, "recognised with every 4 bytes reversed");
    }
    if (!shifts.empty()) {
      const std::int64_t shift = shifts.front();
      return add_whole(DamageKind::kShifted, m,
                       shift > 0 ? bytes_text(static_cast<std::uint64_t>(shift)) + " too late"
                                 : bytes_text(static_cast<std::uint64_t>(-shift)) + " too early");
    }
    if (looks_opaque(bytes)) add_whole(DamageKind::kOpaque, m, "nearly every block looks random");
  }

  // A match behind the memory's end, or in a part of it that no region declares, where a map expects nothing.
  bool is_second_image(std::size_t m, ByteView bytes, std::int64_t shift) const {
    const std::uint64_t size = segment_total(map_.memories[m]);
    if (shift < 0) return false;
    const auto distance = static_cast<std::uint64_t>(shift);
    if (distance >= size) {
      const ByteView rest = bytes.subspan(static_cast<std::size_t>(size));
      return distance != size ||
             !std::ranges::equal(rest, bytes.first(std::min<std::size_t>(rest.size(), size)));
    }
    if (odd(m)) return false;
    for (const Recognition::Match& match : map_.recognition.all) {
      if (match.place.memory != m) continue;
      const std::uint64_t address = match.place.range.begin + distance;
      if (!region_at(map_, m, address).empty()) return false;
    }
    return true;
  }

  void verify() {
    Result<Plan> plan = make_plan(map_, out_.read.image);
    if (!plan) {
      out_.limits.push_back("the image's tables make no sense, so no checksum was verified: " +
                            plan.error().place + ": " + plan.error().found);
      return;
    }
    out_.plan = *std::move(plan);
    out_.checks = verify_checks(*out_.plan, out_.read.image);
  }

  void size_of(const OddSize& odd) {
    const MemoryDeclaration& declared = map_.memories[odd.memory];
    const std::uint64_t size = segment_total(declared);
    const std::uint64_t have = odd.bytes->size();
    if (std::ranges::any_of(out_.damage,
                            [](const Damage& damage) { return damage.kind != DamageKind::kOpaque; })) {
      return;
    }
    if (ends_right(odd)) {
      return add_whole(DamageKind::kShifted, odd.memory,
                       have < size ? bytes_text(size - have) + " are missing before the end"
                                   : bytes_text(have - size) + " too many before the end");
    }
    if (have < size) {
      RangeSet missing = segments_of(declared);
      missing.remove(out_.read.image.memories[odd.memory].known);
      add(DamageKind::kTruncated, declared.name,
          bytes_text(have) + " of " + grouped(size) + "; the rest is missing");
      if (!missing.empty())
        out_.damage.back().at =
            Place{odd.memory, {missing.ranges().front().begin, missing.ranges().back().end}};
      return;
    }
    const ByteView rest = ByteView(*odd.bytes).subspan(static_cast<std::size_t>(size));
    const ByteView whole = ByteView(*odd.bytes).first(static_cast<std::size_t>(have - size));
    const bool constant = std::ranges::all_of(rest, [&](std::uint8_t byte) { return byte == rest.front(); });
    if (!constant && std::ranges::equal(rest, whole)) return repeats_whole(odd, size);
    const bool comes_again = !constant && rest.size() <= size && rest.size() >= kVouchingBits &&
                             std::ranges::equal(rest, ByteView(*odd.bytes).first(rest.size()));
    if (comes_again) return repeats_whole(odd, size);
    add(DamageKind::kPadded, declared.name,
        bytes_text(have - size) + " too many" +
            (constant ? ", all " + hex_excerpt(rest.first(1))
                      : ", beginning " + hex_excerpt(rest.first(std::min<std::size_t>(rest.size(), 8)))));
  }

  void repeats_whole(const OddSize& odd, std::uint64_t size) {
    add(DamageKind::kMirrored, map_.memories[odd.memory].name,
        "after " + bytes_text(size) + " the file begins again");
  }

  // Whether checks hold when everything from some region on is laid to the memory's end: bytes were lost or
  // added before it.
  bool ends_right(const OddSize& odd) {
    if (!out_.plan) return false;
    const MemoryDeclaration& declared = map_.memories[odd.memory];
    const std::uint64_t size = segment_total(declared);
    const std::uint64_t have = odd.bytes->size();
    Image moved = out_.read.image;
    Memory& memory = moved.memories[odd.memory];
    if (have < size) {
      lay_from(declared, size - have, *odd.bytes, memory);
    } else {
      lay_from(declared, 0, ByteView(*odd.bytes).subspan(static_cast<std::size_t>(have - size)), memory);
    }
    const Memory& before = out_.read.image.memories[odd.memory];
    // The rest stays moved while the front, one region after another, goes back to where it was laid first.
    std::size_t splits = 0;
    std::uint64_t from = memory.extent.begin;
    if (holds_moved(moved)) return true;
    for (const Region& region : map_.regions) {
      if (region.place.memory != odd.memory || ++splits > kSplitLimit) continue;
      const Range front{from, region.place.range.end};
      std::ranges::copy(before.view(front), memory.span(front).begin());
      memory.known.remove(front);
      memory.known.add(before.known.within(front));
      from = front.end;
      if (holds_moved(moved)) return true;
    }
    return false;
  }

  bool holds_moved(const Image& moved) const {
    return std::ranges::any_of(out_.checks, [&](const CheckOutcome& check) {
      if (check.is_copy || check.state == CheckState::kHolds) return false;
      if (map_.checksums[out_.plan->nodes[check.node].index].bits < kVouchingBits) return false;
      return verify_check(*out_.plan, check.node, moved).state == CheckState::kHolds;
    });
  }

  void incomplete(std::size_t m) {
    RangeSet missing = segments_of(map_.memories[m]);
    missing.remove(out_.read.image.memories[m].known);
    if (missing.empty()) return;
    out_.whole = false;
    if (odd(m)) return;
    for (const Range& range : missing.ranges()) {
      const std::string place = place_text(map_, {m, range});
      if (is_edge(map_, m, range.begin) && is_edge(map_, m, range.end)) {
        out_.limits.push_back(place +
                              " was not read: nothing is proved about it, nor by checks that read it");
      } else {
        add_at(DamageKind::kGaps, {m, range}, bytes_text(range.size()) + " missing");
      }
    }
  }

  // Single bytes that failing CRCs point to. The checks again, as they are with these put right.
  std::vector<CheckOutcome> one_byte() {
    Image image = out_.read.image;
    std::vector<CheckOutcome> checks = out_.checks;
    if (const auto bit = find_one_bit(*out_.plan, image, checks)) {
      const Range at{bit->address, bit->address + 1};
      add_at(DamageKind::kOneByte, {bit->memory, at},
             hex_excerpt(image.memories[bit->memory].view(at)) + "; with " + hex_excerpt(Bytes{bit->right}) +
                 " there all checks hold that fail");
      image.memories[bit->memory].span(at)[0] = bit->right;
      return verify_checks(*out_.plan, image);
    }
    for (std::size_t i = 0; i < checks.size(); ++i) {
      if (checks[i].state != CheckState::kFails) continue;
      const auto byte = find_one_byte(*out_.plan, out_.plan->nodes[checks[i].node], image);
      if (!byte) continue;
      const Range at{byte->address, byte->address + 1};
      add_at(DamageKind::kOneByte, {byte->memory, at},
             hex_excerpt(image.memories[byte->memory].view(at)) + "; with " +
                 hex_excerpt(Bytes{byte->right}) + " there " + checks[i].name + " holds");
      image.memories[byte->memory].span(at)[0] = byte->right;
      checks = verify_checks(*out_.plan, image);
    }
    return checks;
  }

  // Blank, stuck, repeated or noisy stretches that failing checks point to.
  void content(const std::vector<CheckOutcome>& checks) {
    for (std::size_t m = 0; m < map_.memories.size(); ++m) {
      DamageSearch search{&map_, m, out_.read.image.memories[m].bytes, suspect(map_, out_, m, checks)};
      for (Damage& damage : find_damage(search)) out_.damage.push_back(std::move(damage));
    }
  }

  void unexplained() {
    for (const CheckOutcome& check : out_.checks) {
      if (check.state != CheckState::kFails) continue;
      const std::string what = check.name + " does not hold";
      if (check.wrong)
        add_at(DamageKind::kUnexplained, *check.wrong, what);
      else
        add(DamageKind::kUnexplained, check.name, what);
    }
  }

  void grade(const std::vector<KnownStock>& stocks) {
    const bool fails = any_fails(out_.checks);
    out_.grade = fails ? ReadGrade::kChecksumsFail : ReadGrade::kNotComparable;
    if (!out_.plan) return;
    const std::string number = software_number(map_, out_.read.image);
    std::optional<std::uint64_t> least;
    for (const KnownStock& stock : stocks) {
      if (software_number(map_, stock.image) != number) continue;
      std::vector<ChangedRange> differences = compare_images(*out_.plan, stock.image, out_.read.image);
      std::erase_if(differences, [](const ChangedRange& change) { return !is_pinned(change.kind); });
      std::uint64_t bytes = 0;
      for (const ChangedRange& change : differences) bytes += change.place.range.size();
      if (least && bytes >= *least) continue;
      least = bytes;
      out_.stock = stock.name;
      out_.differences = coalesce(differences);
    }
    if (!least) return;
    if (*least != 0 && !fails) out_.grade = ReadGrade::kDiffersFromKnownStock;
    if (*least == 0 && !fails && out_.damage.empty() && out_.recognised) {
      out_.grade = ReadGrade::kMatchesKnownStock;
    }
  }

  const RegionMap& map_;
  ReadJudgement& out_;
  std::vector<OddSize> odd_sizes_;
};

// A file of the wrong size, which may be one because it is encrypted: what it holds can still be looked at.
bool may_be_laid(const Error& error) {
  return error.reason == Reason::kImageSize || (error.reason == Reason::kFormOpaque && error.place.empty());
}

std::optional<std::size_t> memory_of(const RegionMap& map, const ReadFile& file) {
  if (file.memory.empty()) return map.memories.size() == 1 ? std::optional<std::size_t>(0) : std::nullopt;
  const std::size_t index = map.memory_index(file.memory);
  return index == map.memories.size() ? std::nullopt : std::optional(index);
}

}  // namespace

std::string_view read_grade_name(ReadGrade grade) {
  constexpr std::array<std::string_view, 4> kNames = {"matches-known-stock", "not-comparable",
                                                      "differs-from-known-stock", "checksums-fail"};
  return kNames[static_cast<std::size_t>(grade)];
}

Result<ReadJudgement> judge_read(const RegionMap& map, const std::vector<ReadFile>& files,
                                 const std::vector<KnownStock>& stocks) {
  ReadJudgement out;
  out.whole = true;
  Judge judge(map, out);
  Result<Read> whole = load_read(map, files);
  if (whole) {
    out.read = *std::move(whole);
  } else {
    if (!may_be_laid(whole.error())) return fail(whole.error());
    out.read.image = blank_image(map);
    for (const ReadFile& file : files) {
      Result<Read> alone = load_read(map, {file});
      const std::optional<std::size_t> memory = memory_of(map, file);
      if (!alone) {
        if (!may_be_laid(alone.error()) || !memory) return fail(alone.error());
        judge.lay_as_far(file, *memory);
        continue;
      }
      for (std::size_t m = 0; m < map.memories.size(); ++m) {
        if (!alone->image.memories[m].known.empty())
          out.read.image.memories[m] = std::move(alone->image.memories[m]);
      }
    }
  }
  const Status recognised = recognise_family(map, out.read.image);
  out.recognised = recognised.has_value();
  if (!recognised) out.recognition_error = recognised.error();
  out.identity = read_identity(map, out.read.image);
  judge.judge(stocks);
  return out;
}

}  // namespace calseal
