#include "calseal/check/contents.h"

#include <algorithm>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/change/compare.h"
#include "calseal/check/claims.h"
#include "calseal/check/payload.h"
#include "calseal/map/segments.h"

namespace calseal {
namespace {

template <typename List>
std::string names_of(const List& list) {
  std::string names;
  for (const auto& one : list) names += (names.empty() ? "" : ", ") + printable(one.name, 64);
  return names.empty() ? "none" : names;
}

// --- map

Status compare_head(const OpenedBundle& opened) {
  const ManifestController& controller = opened.manifest.controller();
  const RegionMap& map = opened.map;
  if (map.controller != controller.name) {
    return claim_fault(opened.name, "controllers/0/name", controller.name,
                       map.controller + " as in the region map");
  }
  const auto text = [](const std::string& name, std::uint64_t version, const std::string& grade) {
    return name + " version " + std::to_string(version) + ", " + grade;
  };
  if (map.name != controller.map_name || map.version != controller.map_version ||
      map.grade() != controller.map_grade) {
    return claim_fault(opened.name, "controllers/0/region_map",
                       text(controller.map_name, controller.map_version, controller.map_grade),
                       text(map.name, map.version, std::string(map.grade())) + " as in the region map");
  }
  return {};
}

Status compare_memories(const OpenedBundle& opened) {
  const ManifestController& controller = opened.manifest.controller();
  const RegionMap& map = opened.map;
  if (map.memories.size() != controller.memories.size()) {
    return claim_fault(opened.name, "controllers/0/memories",
                       std::to_string(controller.memories.size()) + " memories",
                       std::to_string(map.memories.size()) + " memories as in the region map");
  }
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    const ManifestMemory& said = controller.memories[m];
    const MemoryDeclaration& declared = map.memories[m];
    if (declared.name == said.name && declared.extent == said.extent) continue;
    return claim_fault(opened.name, "controllers/0/memories/" + std::to_string(m),
                       said.name + " " + range_text(said.extent),
                       declared.name + " " + range_text(declared.extent) + " as in the region map");
  }
  return {};
}

Status compare_map(const OpenedBundle& opened) {
  const ManifestController& controller = opened.manifest.controller();
  const RegionMap& map = opened.map;
  CALSEAL_CHECK(compare_head(opened));
  CALSEAL_CHECK(compare_memories(opened));
  std::vector<ManifestIdentity> plain;
  std::vector<ManifestBinding> binding;
  for (const IdentityField& field : map.identity) {
    if (!field.binds) plain.push_back({field.name, ""});
    if (field.binds)
      binding.push_back({field.name, {map.memories[field.place.memory].name, field.place.range}, {}});
  }
  if (!std::ranges::equal(plain, controller.identity, {}, &ManifestIdentity::name, &ManifestIdentity::name)) {
    return claim_fault(opened.name, "controllers/0/identity", names_of(controller.identity),
                       names_of(plain) + ", as in the region map");
  }
  const auto same_field = [](const ManifestBinding& a, const ManifestBinding& b) {
    return a.name == b.name && a.place == b.place;
  };
  if (!std::ranges::equal(binding, controller.binding, same_field)) {
    return claim_fault(opened.name, "controllers/0/binding", names_of(controller.binding),
                       names_of(binding) + ", each in its place, as in the region map");
  }
  if (!std::ranges::equal(map.patches, controller.patches, {}, &PermittedPatch::name, &ManifestPatch::name)) {
    return claim_fault(opened.name, "controllers/0/patches", names_of(controller.patches),
                       names_of(map.patches) + ", as in the region map");
  }
  return {};
}

// --- changes

// The bytes of locked spans that base and result differ in: those of the patches that stand differently.
std::vector<Place> patched_changes(const OpenedBundle& opened) {
  const RegionMap& map = opened.map;
  const ManifestController& controller = opened.manifest.controller();
  std::vector<RangeSet> differing(map.memories.size());
  for (std::size_t i = 0; i < map.patches.size(); ++i) {
    if (controller.patches[i].in_base == controller.patches[i].in_result) continue;
    const PermittedPatch& patch = map.patches[i];
    for (const Range& run : differing_ranges(patch.before, patch.after)) {
      const std::uint64_t at = patch.place.range.begin;
      differing[patch.place.memory].add({at + run.begin, at + run.end});
    }
  }
  std::vector<Place> places;
  for (const ManifestSpan& span : controller.spans) {
    if (span.kind != SpanKind::kLocked || !span.after) continue;
    const std::size_t memory = map.memory_index(span.place.memory);
    for (const Range& range : differing[memory].within(span.place.range).ranges())
      places.push_back({memory, range});
  }
  return places;
}

// The name of the region that holds a range; "" where no region touches it; nothing when one only touches it.
std::optional<std::string> region_of(const RegionMap& map, const Place& place) {
  // Regions do not overlap: the first that ends behind the beginning is the first that matters.
  const auto region = std::ranges::upper_bound(
      map.regions, std::pair(place.memory, place.range.begin), {},
      [](const Region& each) { return std::pair(each.place.memory, each.place.range.end); });
  if (region == map.regions.end() || region->place.memory != place.memory ||
      !region->place.range.overlaps(place.range))
    return std::string();
  if (!region->place.range.contains(place.range)) return std::nullopt;
  return region->name;
}

// Walks changes and spans side by side; both ascend by memory and address.
class ComparingChanges {
 public:
  explicit ComparingChanges(const OpenedBundle& opened)
      : opened_(opened), map_(opened.map), spans_(opened.manifest.controller().spans) {}

  Status run() {
    for (std::size_t i = 0; i < opened_.changes.size(); ++i) CALSEAL_CHECK(compare(i));
    CALSEAL_CHECK(pass_spans(spans_.size()));
    if (locked_ == patched_changes(opened_)) return {};
    return claim_fault(opened_.name, std::string(kChangesName), "other changes of locked bytes",
                       "exactly the bytes of the permitted patches that changed");
  }

 private:
  tl::unexpected<Error> fault(std::size_t change, std::string found, std::string expected) const {
    const NamedRange& place = opened_.changes[change].place;
    return claim_fault(opened_.name, std::string(kChangesName) + ", changes/" + std::to_string(change),
                       printable(place.memory, 64) + " " + range_text(place.range) + ", " + std::move(found),
                       std::move(expected));
  }

  Status compare(std::size_t index) {
    const Change& change = opened_.changes[index];
    const std::size_t memory = map_.memory_index(change.place.memory);
    if (memory == map_.memories.size()) return fault(index, "no such memory", "a memory of the region map");
    if (memory < memory_) return fault(index, "a memory that came before", "memories in map order");
    memory_ = memory;
    std::size_t span = at_;
    while (span < spans_.size() && !holds(spans_[span], change.place)) ++span;
    if (span == spans_.size())
      return fault(index, "not inside one span", "a range that is cut at every span");
    CALSEAL_CHECK(pass_spans(span));
    const bool pinned_and_changed = spans_[span].after && spans_[span].before != spans_[span].after;
    if (!pinned_and_changed)
      return fault(index, "in a span that does not change", "a pinned span that changes");
    if (listed_ && end_ == change.place.range.begin)
      return fault(index, "touching the range before", "one range for bytes that touch");
    if (region_of(map_, {memory, change.place.range}) != change.region)
      return fault(index, "region \"" + printable(change.region, 64) + "\"", "the region of these bytes");
    if (!change.option.empty() &&
        std::ranges::count(opened_.manifest.options, change.option, &ManifestOption::name) == 0)
      return fault(index, "option \"" + printable(change.option, 64) + "\"", "an option of the manifest");
    if (spans_[span].kind == SpanKind::kLocked) locked_.push_back({memory, change.place.range});
    listed_ = true;
    end_ = change.place.range.end;
    return {};
  }

  static bool holds(const ManifestSpan& span, const NamedRange& place) {
    return span.place.memory == place.memory && span.place.range.contains(place.range);
  }

  // Goes on to the span with this index; those that are left behind had their changes.
  Status pass_spans(std::size_t to) {
    for (; at_ < to; ++at_) {
      const bool changes = spans_[at_].before != spans_[at_].after;
      if (changes && !listed_) {
        return claim_fault(
            opened_.name, std::string(kChangesName),
            "no change in " + spans_[at_].place.memory + " " + range_text(spans_[at_].place.range),
            "a change in every span whose digests differ");
      }
      listed_ = false;
    }
    return {};
  }

  const OpenedBundle& opened_;
  const RegionMap& map_;
  const std::vector<ManifestSpan>& spans_;
  std::size_t memory_ = 0;
  std::size_t at_ = 0;     // into spans_
  bool listed_ = false;    // a change of spans_[at_] came by
  std::uint64_t end_ = 0;  // of that change
  std::vector<Place> locked_;
};

// --- set

Status compare_set(const OpenedBundle& opened) {
  const Manifest& manifest = opened.manifest;
  const ManifestController& controller = manifest.controller();
  const SetMember* member = opened.set->find(controller.name);
  const SetMember own{controller.name, manifest.base_number, manifest.sequence, controller.map_digest,
                      controller.pinned_after};
  if (opened.set->job == manifest.job && member != nullptr && *member == own) return {};
  return claim_fault(opened.name, std::string(kSetName), "a set that this bundle is no member of",
                     "a member with this bundle's controller, base, sequence, region map and pinned digest");
}

// --- files

Status compare_files(const OpenedBundle& opened) {
  if (opened.manifest.revision != 0) return {};
  const ManifestController& controller = opened.manifest.controller();
  for (std::size_t i = 0; i < controller.files.size(); ++i) {
    const ManifestFile& file = controller.files[i];
    if (file.form != "raw" || file.memory.empty()) continue;
    const std::size_t memory = opened.map.memory_index(file.memory);
    if (segments_of(opened.map.memories[memory]).ranges() != controller.memories[memory].known) continue;
    const auto part = std::ranges::find(controller.payload, file.memory, &PayloadPart::memory);
    const auto index = static_cast<std::size_t>(part - controller.payload.begin());
    const Bytes& bytes = opened.payload[index];
    const Sha256& digest = opened.manifest.find_entry(part->entry)->digest;  // proved when it was read
    if (file.size == bytes.size() && file.digest == digest) continue;
    return claim_fault(
        opened.name, "controllers/0/files/" + std::to_string(i),
        grouped(file.size) + " bytes, SHA-256 " + digest_text(file.digest),
        grouped(bytes.size()) + " bytes, SHA-256 " + digest_text(digest) + " as in the payload");
  }
  return {};
}

// --- reading

class ReadingContents {
 public:
  ReadingContents(OpenedBundle& opened, const RegionMap* parsed) : opened_(opened), parsed_(parsed) {}

  Status run() {
    CALSEAL_CHECK(read_map());
    CALSEAL_CHECK(compare_map(opened_));
    CALSEAL_ASSIGN(const Bytes changes, content(std::string(kChangesName)));
    CALSEAL_ASSIGN(opened_.changes, parse_changes(changes, place_of(std::string(kChangesName))));
    CALSEAL_CHECK(ComparingChanges(opened_).run());
    if (opened_.manifest.set) {
      CALSEAL_ASSIGN(const Bytes set, content(std::string(kSetName)));
      CALSEAL_ASSIGN(opened_.set, parse_set(set, place_of(std::string(kSetName))));
      CALSEAL_CHECK(compare_set(opened_));
    }
    for (const PayloadPart& part : opened_.manifest.controller().payload) {
      CALSEAL_ASSIGN(Bytes bytes, content(part.entry));
      opened_.payload.push_back(std::move(bytes));
    }
    CALSEAL_CHECK(verify_attachments());
    return compare_files(opened_);
  }

 private:
  std::string place_of(const std::string& entry) const { return opened_.name + ":" + entry; }
  Result<Bytes> content(const std::string& entry) const {
    return read_content(opened_.file, opened_.framing, opened_.manifest, entry, opened_.name);
  }

  Status read_map() {
    const std::string entry = "regions/" + opened_.manifest.controller().name + ".json";
    CALSEAL_ASSIGN(Bytes text, content(entry));
    if (parsed_ != nullptr && parsed_->text == text) {
      opened_.map = *parsed_;
      return {};
    }
    auto map = parse_region_map(std::move(text), place_of(entry));
    // Nobody can mend a region map that is sealed.
    if (!map) map.error().next = "do not use this bundle; tell the shop";
    CALSEAL_ASSIGN(opened_.map, std::move(map));
    return {};
  }

  // Nobody reads them here; that they are what was sealed is proved all the same.
  Status verify_attachments() const {
    for (const ManifestAttachment& attachment : opened_.manifest.attachments) {
      const ManifestEntry* const entry = opened_.manifest.find_entry(attachment.entry);
      const auto index = static_cast<std::size_t>(entry - opened_.manifest.entries.data());
      CALSEAL_CHECK(verify_content(opened_.file, opened_.framing, opened_.manifest, index, opened_.name));
    }
    return {};
  }

  OpenedBundle& opened_;
  const RegionMap* parsed_;
};

}  // namespace

Status read_contents(OpenedBundle& opened, const RegionMap* parsed) {
  return ReadingContents(opened, parsed).run();
}

}  // namespace calseal
