#include "calseal/report/revision/chain.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/report/html/line.h"
#include "calseal/report/html/parts.h"
#include "calseal/trust/key.h"

namespace calseal {
namespace {

bool same_job(const Manifest& a, const Manifest& b) {
  return a.job == b.job && a.controller().name == b.controller().name;
}

std::string name_of(const Manifest& manifest) {
  return "revision " + std::to_string(manifest.revision) +
         (manifest.base_number == 1 ? "" : " on base " + std::to_string(manifest.base_number));
}

}  // namespace

Html revision_line(const OpenedBundle& opened, const std::vector<const OpenedBundle*>& beside) {
  std::vector<const OpenedBundle*> all = {&opened};
  for (const OpenedBundle* other : beside) {
    const bool twice =
        std::ranges::any_of(all, [&](const OpenedBundle* one) { return one->digest == other->digest; });
    if (!twice && same_job(other->manifest, opened.manifest)) all.push_back(other);
  }
  std::ranges::stable_sort(all, {}, [](const OpenedBundle* one) { return one->manifest.sequence; });
  const auto find = [&](const Sha256& digest) -> const OpenedBundle* {
    const auto found = std::ranges::find(all, digest, [](const OpenedBundle* one) { return one->digest; });
    return found == all.end() ? nullptr : *found;
  };
  std::vector<LineStop> stops;
  for (const OpenedBundle* one : all) {
    const Manifest& manifest = one->manifest;
    const OpenedBundle* parent = manifest.parent ? find(*manifest.parent) : nullptr;
    if (manifest.parent && parent == nullptr) {
      LineStop missing;
      missing.kind = LineStop::Kind::kMissing;
      missing.title = "A revision that is not at hand";
      missing.text =
          element("p.quiet", "The next one names it as its parent: ", code(digest_text(*manifest.parent)));
      stops.push_back(std::move(missing));
    }
    LineStop stop;
    stop.kind = one == &opened           ? LineStop::Kind::kThis
                : manifest.revision == 0 ? LineStop::Kind::kOrigin
                                         : LineStop::Kind::kOther;
    stop.title = Html("Revision " + std::to_string(manifest.revision)) +
                 (manifest.title.empty() ? Html() : ": " + said(manifest.title));
    std::string where = manifest.revision == 0
                            ? "the way back of base " + std::to_string(manifest.base_number) + ", "
                            : "on ";
    if (manifest.revision != 0)
      where += (parent == nullptr ? "the one above" : name_of(parent->manifest)) + ", ";
    stop.text = element("p.quiet", where + "sequence " + std::to_string(manifest.sequence) + ", sealed " +
                                       manifest.claimed_time + " (claimed)") +
                element("p.quiet", code(digest_text(one->digest)));
    if (one == &opened) stop.note = "this one";
    stops.push_back(std::move(stop));
  }
  return line_of_stops(stops);
}

}  // namespace calseal
