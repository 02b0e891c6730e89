// Many revisions proved on one base, from bytes: what they share is worked out once.
#pragma once

#include <memory>
#include <optional>

#include "calseal/base/result.h"
#include "calseal/check/check.h"
#include "calseal/check/open.h"
#include "calseal/check/span_digests.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

class BaseMemory;

class BaseProof {
 public:
  // `way_back`: revision 0 of the base. `image`: what its payload carries, under `map`, which may be a newer
  // region map than its own. `shared`: what other bases know of the same payloads; it must outlive this.
  BaseProof(const OpenedBundle& way_back, RegionMap map, Image image, SpanDigests* shared = nullptr);
  BaseProof(BaseProof&&) noexcept;
  BaseProof& operator=(BaseProof&&) noexcept;
  ~BaseProof();

  const Sha256& map_digest() const;

  // The steps "match" to "checksums" of rebuild(), with the base as the read, declared fresh: the revision's
  // image is rebuilt, every pinned byte compared with its digest, confinement and checksums are proved, and
  // claims compared. Same reasons in the same order. No file is made, and no vehicle is asked for: binding
  // fields are compared where the job's salt is given. `opened.map` must have this proof's map digest.
  Status prove(const OpenedBundle& opened, const std::optional<Bytes>& salt);

 private:
  std::unique_ptr<BaseMemory> memory_;
};

}  // namespace calseal
