#include "calseal/query/known_words.h"

#include <algorithm>

#include "calseal/base/near_words.h"
#include "calseal/base/text.h"
#include "calseal/query/indexed_bundles.h"

namespace calseal {
namespace {

constexpr std::size_t kShownNames = 8;

struct Names {
  std::string_view what;  // they are names of
  std::string_view sql;   // gives those of all revisions; empty: digests and numbers, which are no names
};

Names names_of(CriterionKind kind) {
  switch (kind) {
    case CriterionKind::kTouches:
      return {"memory", "SELECT DISTINCT memory FROM spans"};
    case CriterionKind::kRegion:
      return {"region", "SELECT DISTINCT region FROM changes"};
    case CriterionKind::kItem:
      return {"item", "SELECT DISTINCT name FROM items"};
    case CriterionKind::kOption:
      return {"option", "SELECT DISTINCT name FROM options"};
    case CriterionKind::kSoftware:
      return {"software number", "SELECT DISTINCT value FROM identity WHERE kind='software-number'"};
    case CriterionKind::kJob:
      return {"job", "SELECT DISTINCT job FROM revisions"};
    case CriterionKind::kController:
      return {"controller", "SELECT DISTINCT controller FROM revisions"};
    case CriterionKind::kVehicle:
      return {"vehicle", "SELECT DISTINCT vehicle FROM revisions"};
    default:
      return {};
  }
}

// What a region map names may have changed in no revision.
void add_names(const RegionMap& map, CriterionKind kind, std::vector<std::string>& names) {
  if (kind == CriterionKind::kRegion)
    for (const Region& region : map.regions) names.push_back(region.name);
  if (kind == CriterionKind::kItem)
    for (const Item& item : map.items) names.push_back(item.name);
}

std::string listed(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size() && i < kShownNames; ++i)
    text += (i == 0 ? "" : ", ") + printable(names[i], 60);
  return text + (names.size() > kShownNames ? ", ..." : "");
}

}  // namespace

Status judge_words(const Index& index, const std::vector<Criterion>& criteria) {
  if (index.bundles == 0 || !index.unread.empty()) return {};
  for (const Criterion& criterion : criteria) {
    const Names of = names_of(criterion.kind);
    if (of.sql.empty()) continue;
    std::vector<std::string> names;
    Query query(*index.database, of.sql);
    while (query.step()) names.push_back(query.text(0));
    CALSEAL_CHECK(index.database->status());
    const auto known = [&] { return std::find(names.begin(), names.end(), criterion.text) != names.end(); };
    if (known()) continue;
    if (criterion.kind == CriterionKind::kRegion || criterion.kind == CriterionKind::kItem)
      for (const RegionMap& map : maps_of(index)) add_names(map, criterion.kind, names);
    if (known()) continue;
    std::sort(names.begin(), names.end());
    names.erase(std::unique(names.begin(), names.end()), names.end());
    const std::string what(of.what), question = did_you_mean(near_words(criterion.text, names));
    return fail({Reason::kUsage, printable(index.folder), "",
                 "the " + what + " \"" + printable(criterion.text, 80) + "\"",
                 names.empty() ? "no " + what + ": no revision of the archive has one"
                               : "a " + what + " that the archive knows: " + listed(names),
                 question.empty() ? "look at the word again" : question});
  }
  return {};
}

}  // namespace calseal
