// What changed from one revision to another, from their bundles alone or with whatever else proves more
// bytes.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/check/open.h"
#include "calseal/report/changes/comparison_report.h"
#include "calseal/report/revision/sides.h"

namespace calseal {

struct RevisionChanges {
  const OpenedBundle* before = nullptr;  // both must outlive this
  const OpenedBundle* after = nullptr;
  Image image_before, image_after;  // of each revision, as far as its manifest's digests prove bytes
  Plan plan;                        // of declarations alone: nothing is proved or corrected with it
  std::vector<ChangedRange> changes;
  ChangesByItem by_item;
  // Pinned bytes in spans that differ, whose values are not known on both sides.
  std::uint64_t unknown_bytes = 0;
};

// Bundles of one region map (kUsage otherwise). `beside` and `read` as for known_sides(); nobody needs to
// trust them. Volatile, floating and binding bytes are not compared.
Result<RevisionChanges> changes_between(const OpenedBundle& before, const OpenedBundle& after,
                                        const std::vector<const OpenedBundle*>& beside, const Image* read);

// `seals`: who vouches for the two, in words.
std::string revision_changes_text(const RevisionChanges& changes, const std::string& seals, const Page& page,
                                  const ShownItems& shown, Excerpt excerpt);
JsonValue revision_changes_json(const RevisionChanges& changes, bool verified);

}  // namespace calseal
