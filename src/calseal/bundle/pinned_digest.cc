#include "calseal/bundle/pinned_digest.h"

#include <string>

#include "calseal/base/text.h"

namespace calseal {

Sha256 compute_pinned_digest(const std::vector<ManifestSpan>& spans, Side side) {
  Sha256Hasher hasher;
  for (const ManifestSpan& span : spans) {
    const auto& digest = side == Side::kBefore ? span.before : span.after;
    if (!digest) continue;
    const std::string line = span.place.memory + " " + address_text(span.place.range.begin) + " " +
                             std::to_string(span.place.range.size()) + " " + digest_text(*digest) + "\n";
    hasher.update(view_of(line));
  }
  return hasher.finish();
}

}  // namespace calseal
