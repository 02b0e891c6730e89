#include "calseal/map/map_diff.h"

#include <algorithm>
#include <array>
#include <map>
#include <tuple>
#include <utility>

#include "calseal/base/range_set.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

using Kind = DeclarationChange::Kind;
using How = DeclarationChange::How;

// The memories of two maps, each name once: in the order of the first, then what only the second has.
class MemoryNames {
 public:
  MemoryNames(const RegionMap& a, const RegionMap& b) {
    for (const RegionMap* map : {&a, &b}) {
      for (const MemoryDeclaration& memory : map->memories) {
        if (std::ranges::find(names_, memory.name) == names_.end()) names_.push_back(memory.name);
      }
    }
  }
  std::size_t size() const { return names_.size(); }
  const std::string& operator[](std::size_t number) const { return names_[number]; }
  // The number of each memory of a map, by its index there.
  std::vector<std::size_t> numbers(const RegionMap& map) const {
    std::vector<std::size_t> numbers;
    for (const MemoryDeclaration& memory : map.memories) {
      numbers.push_back(static_cast<std::size_t>(std::ranges::find(names_, memory.name) - names_.begin()));
    }
    return numbers;
  }

 private:
  std::vector<std::string> names_;
};

// Everything that decides about one declaration, as bytes: two are the same when their digests are.
class Said {
 public:
  // `memories`: the numbers of the map's memories, which must outlive this.
  explicit Said(const std::vector<std::size_t>& memories) : memories_(memories) {}

  template <typename Integer>
  Said& number(Integer value) {
    auto rest = static_cast<std::uint64_t>(value);
    for (int i = 0; i < 8; ++i, rest >>= 8) text_.push_back(static_cast<std::uint8_t>(rest));
    return *this;
  }
  Said& bytes(ByteView value) {
    number(value.size());
    text_.insert(text_.end(), value.begin(), value.end());
    return *this;
  }
  Said& word(std::string_view value) { return bytes(view_of(value)); }
  Said& memory(std::size_t index) { return number(memories_[index]); }
  Said& place(const Place& place) {
    return memory(place.memory).number(place.range.begin).number(place.range.end);
  }
  Sha256 digest() const { return compute_sha256(text_); }

 private:
  const std::vector<std::size_t>& memories_;
  Bytes text_;
};

void say_algorithm(Said& said, const Algorithm& algorithm) {
  const CrcParameters& crc = algorithm.crc;
  const SumParameters& sum = algorithm.sum;
  said.number(algorithm.kind);
  switch (algorithm.kind) {
    case AlgorithmKind::kCrc:
      said.number(crc.width).number(crc.poly).number(crc.init).number(crc.refin).number(crc.refout);
      said.number(crc.xorout);
      break;
    case AlgorithmKind::kSum:
      said.number(sum.unit).number(sum.order).number(sum.operation).number(sum.accumulator).number(sum.init);
      break;
    case AlgorithmKind::kFletcher:
      said.number(algorithm.fletcher).number(algorithm.order);
      break;
    case AlgorithmKind::kAdler32:
    case AlgorithmKind::kSha256:
      break;
  }
}

void say_coverage(Said& said, const Coverage& coverage) {
  said.number(coverage.index());
  if (const auto* range = std::get_if<CoverageRange>(&coverage)) {
    said.place(range->place);
  } else if (const auto* literal = std::get_if<CoverageLiteral>(&coverage)) {
    said.bytes(*literal->bytes);
  } else if (const auto* item = std::get_if<CoverageTable>(&coverage)) {
    const DescriptorTable& table = item->table;
    said.memory(table.memory).number(table.at).number(table.records);
    said.number(table.record_size).number(table.order).number(table.start_at).number(table.end_at);
    said.number(table.end).memory(table.points_into).number(table.skip_blank);
    said.number(item->record.has_value()).number(item->record.value_or(0));
  }
}

void say_checksum(Said& said, const Checksum& checksum) {
  say_algorithm(said, checksum.algorithm);
  said.number(checksum.coverage.size());
  for (const Coverage& coverage : checksum.coverage) say_coverage(said, coverage);
  said.number(checksum.substitutes.size());
  for (const Substitute& substitute : checksum.substitutes)
    said.place(substitute.place).number(substitute.as);
  said.number(checksum.swap).number(checksum.complement).number(checksum.add).number(checksum.bits);
  said.number(checksum.slots.size());
  for (const Slot& slot : checksum.slots) {
    said.place(slot.place).number(slot.order).number(slot.encoding).number(slot.transform);
    said.number(slot.from).number(slot.bits);
  }
  said.number(checksum.rule.has_value());
  if (!checksum.rule) return;
  said.number(checksum.rule->equals).number(checksum.rule->order);
  said.number(checksum.rule->balance.has_value());
  if (checksum.rule->balance) said.place(*checksum.rule->balance);
}

void say_copy(Said& said, const Copy& copy) {
  said.place(copy.to).place(copy.of).number(copy.transform).number(copy.offset);
  said.number(copy.active_bank.has_value());
  if (copy.active_bank) said.place(copy.active_bank->place).bytes(copy.active_bank->equals);
}

void say_recognition(Said& said, const Recognition& recognition) {
  said.number(recognition.all.size());
  for (const Recognition::Match& match : recognition.all)
    said.place(match.place).bytes(match.bytes).bytes(match.mask);
  for (const std::string& number : recognition.software_numbers) said.word(number);
}

void say_form(Said& said, const FormDeclaration& form) {
  said.number(form.blocks.size());
  for (const FormDeclaration::Block& block : form.blocks) {
    said.number(block.kind).place(block.place).bytes(block.constant).number(block.size);
  }
  said.number(form.omitted.size());
  for (const Place& place : form.omitted) said.place(place);
  said.number(form.fill).bytes(form.signature);
  if (!form.file) return;
  const std::vector<std::size_t> the_file = {0};
  for (const Checksum& checksum : form.file->checksums) {
    Said own(the_file);
    say_checksum(own, checksum);
    said.word(checksum.name).bytes(own.digest().bytes);
  }
}

void say_item(Said& said, const RegionMap& map, const Item& item) {
  said.number(item.kind).place(item.place).number(item.type).number(item.order);
  said.number(item.columns).number(item.rows).number(item.conversion.rational);
  said.word(decimal_text(item.conversion.factor)).word(decimal_text(item.conversion.offset));
  for (const Decimal& coefficient : item.conversion.coefficients) said.word(decimal_text(coefficient));
  said.word(*item.unit);
  for (const std::optional<Decimal>& limit : {item.least, item.most})
    said.word(limit ? decimal_text(*limit) : "");
  for (const std::optional<std::size_t>& axis : {item.x, item.y})
    said.word(axis ? map.items[*axis].name : "");
}

struct Declared {
  Sha256 said;
  bool removal_widens = false;
};
using Declarations = std::map<std::pair<Kind, std::string>, Declared>;

// All that a map declares, each by kind and name.
class DeclaredBy {
 public:
  DeclaredBy(const RegionMap& map, const MemoryNames& names) : map_(map), numbers_(names.numbers(map)) {
    add_places();
    add_rules();
    // They count for people only: no proof looks at them.
    for (const FormDeclaration& form : map.forms)
      add(Kind::kForm, form.name, false, [&](Said& said) { say_form(said, form); });
    for (const Item& item : map.items)
      add(Kind::kItem, item.name, false, [&](Said& said) { say_item(said, map, item); });
  }
  const Declarations& all() const { return all_; }

 private:
  template <typename Say>
  void add(Kind kind, const std::string& name, bool removal_widens, Say say) {
    Said said(numbers_);
    say(said);
    all_[{kind, name}] = {said.digest(), removal_widens};
  }

  void add_places() {
    for (const MemoryDeclaration& memory : map_.memories) {
      add(Kind::kMemory, memory.name, true, [&](Said& said) {
        said.number(memory.extent.begin).number(memory.extent.end);
        said.number(memory.fill).number(memory.hole_is_fill);
        for (const Range& segment : memory.segments) said.number(segment.begin).number(segment.end);
      });
    }
    for (const PermittedPatch& patch : map_.patches) {
      add(Kind::kPatch, patch.name, false,
          [&](Said& said) { said.place(patch.place).bytes(patch.before).bytes(patch.after); });
    }
    for (const SignedPart& part : map_.signed_parts) {
      add(Kind::kSignedPart, part.name, true, [&](Said& said) {
        for (const Place& place : part.places) said.place(place);
      });
    }
    if (!map_.sectors.empty()) add(Kind::kEraseSectors, "", true, [&](Said& said) { say_sectors(said); });
  }

  void add_rules() {
    for (const Copy& copy : map_.copies)
      add(Kind::kCopy, copy.name, true, [&](Said& said) { say_copy(said, copy); });
    for (const Checksum& checksum : map_.checksums)
      add(Kind::kChecksum, checksum.name, true, [&](Said& said) { say_checksum(said, checksum); });
    for (const IdentityField& field : map_.identity) {
      add(Kind::kIdentity, field.name, field.binds, [&](Said& said) {
        said.number(field.kind).place(field.place).number(field.encoding);
        said.word(field.pattern).number(field.binds);
      });
    }
    const Recognition& recognition = map_.recognition;
    if (!recognition.all.empty() || !recognition.software_numbers.empty())
      add(Kind::kRecognition, "", true, [&](Said& said) { say_recognition(said, recognition); });
  }

  // Whatever the order of the memories.
  void say_sectors(Said& said) const {
    std::vector<Place> sectors = map_.sectors;
    for (Place& sector : sectors) sector.memory = numbers_[sector.memory];
    std::ranges::sort(sectors);
    for (const Place& sector : sectors)
      said.number(sector.memory).number(sector.range.begin).number(sector.range.end);
  }

  const RegionMap& map_;
  std::vector<std::size_t> numbers_;
  Declarations all_;
};

bool addition_widens(Kind kind) { return kind == Kind::kPatch || kind == Kind::kMemory; }
bool change_widens(Kind kind) { return kind != Kind::kForm && kind != Kind::kItem; }

std::vector<DeclarationChange> compare_declarations(const Declarations& old, const Declarations& fresh) {
  std::vector<DeclarationChange> changes;
  for (const auto& [key, declared] : old) {
    const auto found = fresh.find(key);
    if (found == fresh.end()) {
      changes.push_back({key.first, How::kRemoved, key.second, declared.removal_widens});
    } else if (found->second.said != declared.said) {
      changes.push_back({key.first, How::kChanged, key.second, change_widens(key.first)});
    }
  }
  for (const auto& [key, declared] : fresh) {
    if (!old.contains(key))
      changes.push_back({key.first, How::kAdded, key.second, addition_widens(key.first)});
  }
  std::ranges::stable_sort(changes, {},
                           [](const auto& change) { return std::tie(change.kind, change.name); });
  return changes;
}

bool policy_widens(Policy before, Policy after) {
  if (before == after) return false;
  if (before == Policy::kLocked || after == Policy::kEditable) return true;
  return before == Policy::kDerived && after == Policy::kVolatile;
}

// The policies of one memory, asked for at ascending addresses: the same as policy_at(), in one sweep.
class PolicySweep {
 public:
  // `memory`: an index into map.memories, or past it: then every address is locked.
  PolicySweep(const RegionMap& map, std::size_t memory) {
    std::vector<Range> derived;
    const auto add = [&](const Place& place) {
      if (place.memory == memory) derived.push_back(place.range);
    };
    for (const Copy& copy : map.copies) add(copy.to);
    for (const Checksum& checksum : map.checksums) {
      for (const Place& place : checksum.written_places()) add(place);
    }
    std::ranges::sort(derived);
    RangeSet merged;
    for (const Range& range : derived) merged.add(range);
    derived_ = merged.ranges();
    for (const Region& region : map.regions) {
      if (region.place.memory == memory) regions_.push_back(&region);
    }
  }

  // Every address at which the policy may change.
  void add_edges(std::vector<std::uint64_t>& edges) const {
    for (const Range& range : derived_) edges.insert(edges.end(), {range.begin, range.end});
    for (const Region* region : regions_)
      edges.insert(edges.end(), {region->place.range.begin, region->place.range.end});
  }

  // No address may be below the one before.
  Policy at(std::uint64_t address) {
    while (next_derived_ < derived_.size() && derived_[next_derived_].end <= address) ++next_derived_;
    while (next_region_ < regions_.size() && regions_[next_region_]->place.range.end <= address)
      ++next_region_;
    if (next_derived_ < derived_.size() && derived_[next_derived_].contains(address)) return Policy::kDerived;
    if (next_region_ == regions_.size()) return Policy::kLocked;
    const Region& region = *regions_[next_region_];
    return region.place.range.contains(address) ? region.policy : Policy::kLocked;
  }

 private:
  std::vector<Range> derived_;          // ascending, disjoint
  std::vector<const Region*> regions_;  // ascending, disjoint, as the map has them
  std::size_t next_derived_ = 0, next_region_ = 0;
};

void compare_memory(const RegionMap& before, const RegionMap& after, const std::string& memory,
                    std::vector<PolicyChange>& changes) {
  PolicySweep old_sweep(before, before.memory_index(memory));
  PolicySweep new_sweep(after, after.memory_index(memory));
  std::vector<std::uint64_t> edges;
  old_sweep.add_edges(edges);
  new_sweep.add_edges(edges);
  std::ranges::sort(edges);
  edges.erase(std::unique(edges.begin(), edges.end()), edges.end());
  for (std::size_t i = 0; i + 1 < edges.size(); ++i) {
    const Range range{edges[i], edges[i + 1]};
    const Policy old = old_sweep.at(range.begin), fresh = new_sweep.at(range.begin);
    if (old == fresh) continue;
    if (!changes.empty() && changes.back().memory == memory && changes.back().range.end == range.begin &&
        changes.back().before == old && changes.back().after == fresh) {
      changes.back().range.end = range.end;
    } else {
      changes.push_back({memory, range, old, fresh, policy_widens(old, fresh)});
    }
  }
}

}  // namespace

std::string_view declaration_kind_name(Kind kind) {
  constexpr std::array<std::string_view, 10> kWords{
      "memory",      "permitted patch",  "copy", "checksum",      "identity field",
      "signed part", "recognition rule", "form", "erase sectors", "calibration item"};
  return kWords[static_cast<std::size_t>(kind)];
}

std::string_view declaration_how_name(How how) {
  constexpr std::array<std::string_view, 3> kWords{"added", "removed", "changed"};
  return kWords[static_cast<std::size_t>(how)];
}

MapDiff diff_region_maps(const RegionMap& before, const RegionMap& after) {
  MapDiff diff;
  const MemoryNames names(before, after);
  for (std::size_t i = 0; i < names.size(); ++i) compare_memory(before, after, names[i], diff.policies);
  diff.declarations = compare_declarations(DeclaredBy(before, names).all(), DeclaredBy(after, names).all());
  const auto widens = [](const auto& change) { return change.widens; };
  diff.widens = std::ranges::any_of(diff.policies, widens) || std::ranges::any_of(diff.declarations, widens);
  return diff;
}

}  // namespace calseal
