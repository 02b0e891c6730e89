#include "calseal/study/map_diff.h"

#include <algorithm>
#include <iterator>
#include <map>
#include <set>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {
namespace {

using Kind = DeclarationChange::Kind;
using How = DeclarationChange::How;

// Everything that decides, as text: two declarations are alike when their texts are.
class Said {
 public:
  template <typename Integer>
  Said& number(Integer value) {
    text_ += std::to_string(static_cast<std::uint64_t>(value)) + ";";
    return *this;
  }
  Said& word(const std::string& value) {
    text_ += std::to_string(value.size()) + ":" + value + ";";
    return *this;
  }
  Said& bytes(const Bytes& value) { return word(to_hex(value)); }
  Said& place(const RegionMap& map, const Place& place) {
    return word(map.memories[place.memory].name).number(place.range.begin).number(place.range.end);
  }
  const std::string& text() const { return text_; }

 private:
  std::string text_;
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

void say_coverage(Said& said, const RegionMap& map, const Coverage& coverage) {
  said.number(coverage.index());
  if (const auto* range = std::get_if<CoverageRange>(&coverage)) {
    said.place(map, range->place);
  } else if (const auto* literal = std::get_if<CoverageLiteral>(&coverage)) {
    said.bytes(literal->bytes);
  } else if (const auto* item = std::get_if<CoverageTable>(&coverage)) {
    const DescriptorTable& table = item->table;
    said.word(map.memories[table.memory].name).number(table.at).number(table.records);
    said.number(table.record_size).number(table.order).number(table.start_at).number(table.end_at);
    said.number(table.end).word(map.memories[table.points_into].name).number(table.skip_blank);
    said.number(item->record.has_value()).number(item->record.value_or(0));
  }
}

std::string said_of(const RegionMap& map, const Checksum& checksum) {
  Said said;
  say_algorithm(said, checksum.algorithm);
  said.number(checksum.coverage.size());
  for (const Coverage& coverage : checksum.coverage) say_coverage(said, map, coverage);
  said.number(checksum.substitutes.size());
  for (const Substitute& substitute : checksum.substitutes)
    said.place(map, substitute.place).number(substitute.as);
  said.number(checksum.swap).number(checksum.complement).number(checksum.add).number(checksum.bits);
  said.number(checksum.slots.size());
  for (const Slot& slot : checksum.slots) {
    said.place(map, slot.place).number(slot.order).number(slot.encoding).number(slot.transform);
    said.number(slot.from).number(slot.bits);
  }
  said.number(checksum.rule.has_value());
  if (checksum.rule) {
    said.number(checksum.rule->equals).number(checksum.rule->order);
    said.number(checksum.rule->balance.has_value());
    if (checksum.rule->balance) said.place(map, *checksum.rule->balance);
  }
  return said.text();
}

std::string said_of(const RegionMap& map, const Copy& copy) {
  Said said;
  said.place(map, copy.to).place(map, copy.of).number(copy.transform).number(copy.offset);
  said.number(copy.active_bank.has_value());
  if (copy.active_bank) said.place(map, copy.active_bank->place).bytes(copy.active_bank->equals);
  return said.text();
}

std::string said_of(const RegionMap& map, const IdentityField& field) {
  return Said()
      .number(field.kind)
      .place(map, field.place)
      .number(field.encoding)
      .word(field.pattern)
      .number(field.binds)
      .text();
}

std::string said_of(const RegionMap& map, const std::vector<Place>& places) {
  Said said;
  for (const Place& place : places) said.place(map, place);
  return said.text();
}

std::string said_of(const RegionMap& map, const Recognition& recognition) {
  Said said;
  for (const Recognition::Match& match : recognition.all)
    said.place(map, match.place).bytes(match.bytes).bytes(match.mask);
  for (const std::string& number : recognition.software_numbers) said.word(number);
  return said.text();
}

std::string said_of(const RegionMap& map, const Item& item) {
  Said said;
  said.number(item.kind).place(map, item.place).number(item.type).number(item.order);
  said.number(item.columns).number(item.rows).number(item.conversion.rational);
  said.word(decimal_text(item.conversion.factor)).word(decimal_text(item.conversion.offset));
  for (const Decimal& coefficient : item.conversion.coefficients) said.word(decimal_text(coefficient));
  said.word(item.unit);
  for (const std::optional<Decimal>& limit : {item.least, item.most})
    said.word(limit ? decimal_text(*limit) : "");
  for (const std::optional<std::size_t>& axis : {item.x, item.y})
    said.word(axis ? map.items[*axis].name : "");
  return said.text();
}

struct Declared {
  std::string said;
  bool removal_widens = false;
};
using Declarations = std::map<std::pair<Kind, std::string>, Declared>;

Declarations declarations_of(const RegionMap& map) {
  Declarations all;
  for (const MemoryDeclaration& memory : map.memories) {
    Said said;
    said.number(memory.extent.begin).number(memory.extent.end).number(memory.fill);
    said.number(memory.hole_is_fill);
    for (const Range& segment : memory.segments) said.number(segment.begin).number(segment.end);
    all[{Kind::kMemory, memory.name}] = {said.text(), true};
  }
  for (const PermittedPatch& patch : map.patches) {
    Said said;
    said.place(map, patch.place).bytes(patch.before).bytes(patch.after);
    all[{Kind::kPatch, patch.name}] = {said.text(), false};
  }
  for (const Copy& copy : map.copies) all[{Kind::kCopy, copy.name}] = {said_of(map, copy), true};
  for (const Checksum& checksum : map.checksums)
    all[{Kind::kChecksum, checksum.name}] = {said_of(map, checksum), true};
  for (const IdentityField& field : map.identity)
    all[{Kind::kIdentity, field.name}] = {said_of(map, field), field.binds};
  for (const SignedPart& part : map.signed_parts)
    all[{Kind::kSignedPart, part.name}] = {said_of(map, part.places), true};
  if (!map.recognition.all.empty() || !map.recognition.software_numbers.empty())
    all[{Kind::kRecognition, ""}] = {said_of(map, map.recognition), true};
  for (const FormDeclaration& form : map.forms) {
    Said said;
    for (const FormDeclaration::Block& block : form.blocks) {
      said.number(block.kind).place(map, block.place).bytes(block.constant).number(block.size);
    }
    for (const Place& place : form.omitted) said.place(map, place);
    said.number(form.fill).bytes(form.signature);
    if (form.file) {
      for (const Checksum& checksum : form.file->checksums) said.word(said_of(*form.file, checksum));
    }
    all[{Kind::kForm, form.name}] = {said.text(), false};
  }
  // Its limits are what keeps a value sane: without them, or with others, more may be sealed.
  for (const Item& item : map.items) all[{Kind::kItem, item.name}] = {said_of(map, item), true};
  if (!map.sectors.empty()) all[{Kind::kEraseSectors, ""}] = {said_of(map, map.sectors), false};
  return all;
}

bool addition_widens(Kind kind) { return kind == Kind::kPatch || kind == Kind::kMemory; }
bool change_widens(Kind kind) { return kind != Kind::kForm && kind != Kind::kEraseSectors; }

std::vector<DeclarationChange> compare_declarations(const RegionMap& before, const RegionMap& after) {
  const Declarations old = declarations_of(before), fresh = declarations_of(after);
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
  std::stable_sort(changes.begin(), changes.end(), [](const auto& a, const auto& b) {
    return std::pair(a.kind, a.name) < std::pair(b.kind, b.name);
  });
  return changes;
}

bool policy_widens(Policy before, Policy after) {
  if (before == after) return false;
  if (before == Policy::kLocked || after == Policy::kEditable) return true;
  return before == Policy::kDerived && after == Policy::kVolatile;
}

// Where the policy may change in the memory of that name.
void add_edges(const RegionMap& map, const std::string& memory, std::set<std::uint64_t>& edges) {
  const auto add = [&](const Place& place) {
    if (map.memories[place.memory].name != memory) return;
    edges.insert(place.range.begin);
    edges.insert(place.range.end);
  };
  for (const MemoryDeclaration& declared : map.memories) {
    if (declared.name == memory) edges.insert({declared.extent.begin, declared.extent.end});
  }
  for (const Region& region : map.regions) add(region.place);
  for (const Copy& copy : map.copies) add(copy.to);
  for (const Checksum& checksum : map.checksums) {
    for (const Slot& slot : checksum.slots) add(slot.place);
    if (checksum.rule && checksum.rule->balance) add(*checksum.rule->balance);
  }
}

Policy policy_or_locked(const RegionMap& map, const std::string& memory, std::uint64_t address) {
  const std::size_t index = map.memory_index(memory);
  const bool has = index < map.memories.size() && map.memories[index].extent.contains(address);
  return has ? policy_at(map, index, address) : Policy::kLocked;
}

void compare_memory(const RegionMap& before, const RegionMap& after, const std::string& memory,
                    std::vector<PolicyChange>& changes) {
  std::set<std::uint64_t> edges;
  add_edges(before, memory, edges);
  add_edges(after, memory, edges);
  for (auto edge = edges.begin(); edge != edges.end() && std::next(edge) != edges.end(); ++edge) {
    const Range range{*edge, *std::next(edge)};
    const Policy old = policy_or_locked(before, memory, range.begin);
    const Policy fresh = policy_or_locked(after, memory, range.begin);
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
  switch (kind) {
    case Kind::kMemory:
      return "memory";
    case Kind::kPatch:
      return "permitted patch";
    case Kind::kCopy:
      return "copy";
    case Kind::kChecksum:
      return "checksum";
    case Kind::kIdentity:
      return "identity field";
    case Kind::kSignedPart:
      return "signed part";
    case Kind::kRecognition:
      return "recognition rule";
    case Kind::kForm:
      return "form";
    case Kind::kEraseSectors:
      return "erase sectors";
    case Kind::kItem:
      return "calibration item";
  }
  return "";
}

std::string_view declaration_how_name(How how) {
  switch (how) {
    case How::kAdded:
      return "added";
    case How::kRemoved:
      return "removed";
    case How::kChanged:
      return "changed";
  }
  return "";
}

MapDiff diff_region_maps(const RegionMap& before, const RegionMap& after) {
  MapDiff diff;
  std::vector<std::string> memories;
  for (const RegionMap* map : {&before, &after}) {
    for (const MemoryDeclaration& memory : map->memories) {
      if (std::find(memories.begin(), memories.end(), memory.name) == memories.end())
        memories.push_back(memory.name);
    }
  }
  for (const std::string& memory : memories) compare_memory(before, after, memory, diff.policies);
  diff.declarations = compare_declarations(before, after);
  const auto widens = [](const auto& change) { return change.widens; };
  diff.widens = std::any_of(diff.policies.begin(), diff.policies.end(), widens) ||
                std::any_of(diff.declarations.begin(), diff.declarations.end(), widens);
  return diff;
}

}  // namespace calseal
