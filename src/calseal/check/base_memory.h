// What is remembered of a base between the proofs of two revisions on it; see base_proof.h.
#pragma once

#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "calseal/base/range_set.h"
#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/change/compare.h"
#include "calseal/check/span_digests.h"
#include "calseal/image/image.h"
#include "calseal/map/plan.h"
#include "calseal/map/region_map.h"
#include "calseal/map/verify.h"

namespace calseal {

class BaseMemory {
 public:
  BaseMemory(const Sha256& identity, RegionMap map, Image image);

  // Asks `shared` before hashing where a memory is one payload of `way_back` and nothing else.
  void share(const Manifest& way_back, SpanDigests& shared);

  const Sha256& identity() const { return identity_; }  // of revision 0
  const RegionMap& map() const { return map_; }
  const Image& image() const { return base_; }

  // A copy of the base's image, to be given back with what of it may have been written since.
  Image take_image();
  void give_back(Image image, const std::vector<RangeSet>& touched);

  // SHA-256 of a span of `image`, which is the base's but for `touched` and permitted patches; nothing where
  // these have other bytes than the base.
  std::optional<Sha256> digest_of(const NamedRange& place, const Image& image,
                                  const std::vector<RangeSet>& touched);
  // The same where `image` holds what the base holds.
  std::optional<Sha256> digest_if_same(const NamedRange& place, const Image& image);

  // Locked bytes are those of the base by the time that this is asked.
  Result<Plan> plan(const Image& image);
  // verify_checks() of `after`: what no change reaches is as it was.
  std::vector<CheckOutcome> checks(const Image& before, const Image& after,
                                   const std::vector<ChangedRange>& changes);

 private:
  const Sha256& digest(const NamedRange& place);

  Sha256 identity_;
  RegionMap map_;
  Image base_;
  std::vector<RangeSet> patches_;  // bytes of permitted patches, one set per memory
  std::optional<Image> image_;
  std::optional<Plan> plan_;
  std::map<std::pair<std::size_t, Range>, Sha256> digests_;
  SpanDigests* shared_ = nullptr;
  std::vector<std::optional<Sha256>> contents_;  // of each memory's bytes, where known; with shared_
  std::vector<RangeSet> checked_known_;          // for which checks_ are
  std::vector<CheckOutcome> checks_;             // of the base
};

}  // namespace calseal
