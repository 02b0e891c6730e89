#include "calseal/check/base_memory.h"

#include <algorithm>

#include "calseal/change/confine.h"
#include "calseal/check/base_proof.h"

namespace calseal {

BaseMemory::BaseMemory(const Sha256& identity, RegionMap map, Image image)
    : identity_(identity), map_(std::move(map)), patches_(map_.memories.size()) {
  base_ = std::move(image);
  for (const PermittedPatch& patch : map_.patches) patches_[patch.place.memory].add(patch.place.range);
}

void BaseMemory::share(const Manifest& way_back, SpanDigests& shared) {
  shared_ = &shared;
  contents_.resize(map_.memories.size());
  for (std::size_t m = 0; m < map_.memories.size(); ++m) {
    const MemoryDeclaration& memory = map_.memories[m];
    const std::vector<PayloadPart>& parts = way_back.controller().payload;
    const auto is_of_memory = [&](const PayloadPart& part) { return part.memory == memory.name; };
    const auto part = std::ranges::find_if(parts, is_of_memory);
    if (std::ranges::count_if(parts, is_of_memory) != 1 || part->ranges != std::vector{memory.extent})
      continue;
    // A memory that this region map cuts otherwise was not taken from the payload.
    if (!base_.memories[m].knows(memory.extent)) continue;
    if (const ManifestEntry* const entry = way_back.find_entry(part->entry)) contents_[m] = entry->digest;
  }
}

Image BaseMemory::take_image() {
  if (!image_) return base_;
  Image image = *std::move(image_);
  image_.reset();
  return image;
}

void BaseMemory::give_back(Image image, const std::vector<RangeSet>& touched) {
  for (std::size_t m = 0; m < image.memories.size(); ++m) {
    Memory& memory = image.memories[m];
    memory.known = base_.memories[m].known;
    if (m >= touched.size()) continue;
    for (const Range& range : touched[m].ranges())
      std::ranges::copy(base_.memories[m].view(range), memory.span(range).begin());
  }
  image_ = std::move(image);
}

const Sha256& BaseMemory::digest(const NamedRange& place) {
  const std::pair key{map_.memory_index(place.memory), place.range};
  const auto known = digests_.find(key);
  if (known != digests_.end()) return known->second;
  const Memory& memory = base_.memories[key.first];
  if (shared_ == nullptr || !contents_[key.first])
    return digests_.emplace(key, compute_sha256(memory.view(place.range))).first->second;
  const Sha256& content = *contents_[key.first];
  const Range part{place.range.begin - memory.extent.begin, place.range.end - memory.extent.begin};
  std::optional<Sha256> digest = shared_->find(content, part);
  if (!digest) {
    digest = compute_sha256(memory.view(place.range));
    shared_->keep(content, part, *digest);
  }
  return digests_.emplace(key, *digest).first->second;
}

std::optional<Sha256> BaseMemory::digest_of(const NamedRange& place, const Image& image,
                                            const std::vector<RangeSet>& touched) {
  const std::size_t m = map_.memory_index(place.memory);
  for (const RangeSet* const written : {std::as_const(patches_).data() + m, touched.data() + m}) {
    for (const Range& range : written->within(place.range).ranges()) {
      if (!std::ranges::equal(image.memories[m].view(range), base_.memories[m].view(range)))
        return std::nullopt;
    }
  }
  return digest(place);
}

std::optional<Sha256> BaseMemory::digest_if_same(const NamedRange& place, const Image& image) {
  const std::size_t m = map_.memory_index(place.memory);
  if (!image.memories[m].knows(place.range) || !base_.memories[m].knows(place.range)) return std::nullopt;
  if (!std::ranges::equal(image.memories[m].view(place.range), base_.memories[m].view(place.range)))
    return std::nullopt;
  return digest(place);
}

Result<Plan> BaseMemory::plan(const Image& image) {
  if (!plan_) {
    CALSEAL_ASSIGN(plan_, make_plan(map_, image));
  }
  return *plan_;
}

std::vector<CheckOutcome> BaseMemory::checks(const Image& before, const Image& after,
                                             const std::vector<ChangedRange>& changes) {
  std::vector<RangeSet> known;
  for (const Memory& memory : before.memories) known.push_back(memory.known);
  if (known != checked_known_) {
    checks_ = verify_checks(*plan_, before);
    checked_known_ = std::move(known);
  }
  return verify_from(before, checks_, changes, *plan_, after);
}

}  // namespace calseal
