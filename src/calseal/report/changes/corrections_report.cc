#include "calseal/report/changes/corrections_report.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/compare.h"
#include "calseal/report/changes/places.h"

namespace calseal {
namespace {

constexpr std::size_t kShownBytes = 8;
constexpr std::size_t kShownOfLong = 4;  // so that a row fits on 80 columns

std::string listed(ByteView bytes) { return to_hex(bytes.first(std::min(bytes.size(), kListedBytes))); }

}  // namespace

std::string corrections_text(const RegionMap& map, const CorrectionReport& report, const Page& page) {
  std::string text;
  if (report.corrections.empty()) {
    text += "  nothing to correct\n";
  } else {
    Columns columns;
    columns.add(
        {{"corrected", Mark::kDim}, {"before", Mark::kDim}, {"after", Mark::kDim}, {"from", Mark::kDim}});
    for (const Correction& correction : report.corrections) {
      // A copy is long and mostly the same: what changed is what a person wants to see.
      const std::vector<Range> differing = differing_ranges(correction.before, correction.after);
      const bool is_long = correction.before.size() > kShownBytes && !differing.empty();
      const Range shown = is_long ? differing.front() : Range{0, correction.before.size()};
      const auto excerpt = [&](const Bytes& bytes) {
        return hex_excerpt(ByteView(bytes).subspan(static_cast<std::size_t>(shown.begin),
                                                   static_cast<std::size_t>(shown.size())),
                           is_long ? kShownOfLong : kShownBytes);
      };
      columns.add({{correction.name},
                   {excerpt(correction.before)},
                   {excerpt(correction.after)},
                   {map.memories[correction.place.memory].name + " " +
                    address_text(correction.place.range.begin + shown.begin)}});
    }
    text += columns.text(page, 2);
  }
  if (report.not_provable.empty()) return text;
  std::string names;
  for (const std::string& name : report.not_provable) names += (names.empty() ? "" : ", ") + name;
  return text + "\n" +
         labelled(page, "? left", names + ": bytes that these need are unknown", Mark::kCaution);
}

JsonValue corrections_json(const RegionMap& map, const CorrectionReport& report) {
  return json_array(report.corrections, [&](const Correction& correction) {
    JsonValue value = json_object({{"name", json(correction.name)}});
    for (auto& member : place_json(map, correction.place).members) value.members.push_back(std::move(member));
    value.members.emplace_back("before", json(listed(correction.before)));
    value.members.emplace_back("after", json(listed(correction.after)));
    return value;
  });
}

}  // namespace calseal
