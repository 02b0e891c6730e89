// A comparison of two images with its confinement proof, for people and for programs.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/change/by_item.h"
#include "calseal/change/confine.h"
#include "calseal/report/changes/item_report.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// Lists in JSON end here and say how many they left out; people see fewer.
inline constexpr std::size_t kListedChanges = 65536;

enum class Excerpt : std::uint8_t { kNone, kHex };

struct Comparison {
  const Plan* plan = nullptr;  // of the image before; it, the map and the images must outlive this
  const Image* before = nullptr;
  const Image* after = nullptr;
  std::optional<Error> disbelief;  // why the region map does not hold on `before`
  Confinement proof;
  ChangesByItem changes;

  // What a script may rely on: the map is believed and every change is confined.
  bool is_confined() const { return !disbelief && proof.holds(); }
};

// Believes the map on `before`, then compares and proves; never fails, since disbelief and violations are
// results.
Comparison compare_and_prove(const Plan& plan, const Image& before, const Image& after);

// What became of a copy that no longer repeats its original.
struct CopyEdit {
  enum class Side : std::uint8_t { kCopyOnly, kOriginalOnly, kBoth } side = Side::kCopyOnly;
  std::string name;
};
std::vector<CopyEdit> copy_edits(const Plan& plan, const Confinement& proof);

// What changed by item.
std::string comparison_items_text(const Comparison& comparison, const Page& page, const ShownItems& shown);
// The memories to scale, and what changed by region. Ranges are listed where items do not name everything
// that changed, and with `excerpt` their bytes.
std::string changed_regions_text(const Comparison& comparison, const Page& page, Excerpt excerpt);
// Belief, regions and verdict.
std::string comparison_text(const Comparison& comparison, const Page& page, Excerpt excerpt);

// The verdict alone, for commands that print their own list: one line when confined; what waits for
// correction when nothing else is wrong; else the violations. `believed`: the region map holds on the image
// before.
std::string confinement_text(const Plan& plan, const Confinement& proof, const Image& image, const Page& page,
                             bool believed = true);

// The members of docs/json-output.md, "comparison", as an object.
JsonValue comparison_json(const Comparison& comparison, Excerpt excerpt);

// The members of docs/json-output.md, "confinement", as an object.
JsonValue confinement_json(const Plan& plan, const Confinement& proof, const Image& image);

}  // namespace calseal
