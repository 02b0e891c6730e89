#include "calseal/check/image_digests.h"

#include "calseal/digest/sha256_many.h"

namespace calseal {

std::vector<Sha256> ImageDigests::of_each(const std::vector<NamedRange>& places) {
  std::vector<ByteView> views;
  std::vector<const NamedRange*> missing;
  for (const NamedRange& place : places) {
    if (known_.contains({place.memory, place.range})) continue;
    views.push_back(image_->find(place.memory)->view(place.range));
    missing.push_back(&place);
  }
  const std::vector<Sha256> computed = compute_sha256_of_each(views);
  for (std::size_t i = 0; i < missing.size(); ++i)
    known_.insert_or_assign({missing[i]->memory, missing[i]->range}, computed[i]);
  std::vector<Sha256> digests;
  for (const NamedRange& place : places) digests.push_back(known_.at({place.memory, place.range}));
  return digests;
}

std::vector<std::optional<Sha256>> ImageDigests::of_spans(
    const std::vector<ManifestSpan>& spans, const std::function<bool(const ManifestSpan&)>& asked) {
  std::vector<NamedRange> places;
  std::vector<std::size_t> asked_for;
  for (std::size_t i = 0; i < spans.size(); ++i) {
    if (!asked(spans[i])) continue;
    places.push_back(spans[i].place);
    asked_for.push_back(i);
  }
  const std::vector<Sha256> found = of_each(places);
  std::vector<std::optional<Sha256>> digests(spans.size());
  for (std::size_t i = 0; i < found.size(); ++i) digests[asked_for[i]] = found[i];
  return digests;
}

}  // namespace calseal
