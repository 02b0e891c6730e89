#include "calseal/report/revision/comparison_page.h"

#include <algorithm>
#include <utility>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/map/items.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/layout/page.h"
#include "calseal/report/revision/memory_section.h"

namespace calseal {
namespace {

constexpr std::size_t kMostViolations = 24;  // rows of what a seal would refuse
constexpr std::size_t kMostChecks = 200;     // rows of checks
constexpr std::size_t kMostLimits = 24;      // items past their limits

// Bytes by what became of them.
struct ChangedBytes {
  std::uint64_t edited = 0, corrected = 0, refused = 0;
};

bool is_refused(const RegionMap& map, const ChangedRange& change) {
  if (change.kind == SpanKind::kVolatile || change.kind == SpanKind::kBinding) return true;
  return change.kind == SpanKind::kLocked &&
         !std::ranges::any_of(map.patches, [&](const PermittedPatch& patch) {
           return patch.place.memory == change.place.memory && patch.place.range.contains(change.place.range);
         });
}

ChangedBytes bytes_of(const Comparison& comparison) {
  ChangedBytes bytes;
  for (const ChangedRange& change : comparison.proof.changes) {
    const bool follows = change.kind == SpanKind::kDerived || change.kind == SpanKind::kFloating;
    (is_refused(*comparison.plan->map, change) ? bytes.refused
     : follows                                 ? bytes.corrected
                                               : bytes.edited) += change.place.range.size();
  }
  return bytes;
}

// As many ranges as a page can bear: of unrelated images, neighbours as one.
std::vector<PlacedChange> drawn_changes(const Comparison& comparison) {
  const std::vector<ChangedRange>* ranges = &comparison.proof.changes;
  std::vector<ChangedRange> joined;
  for (std::uint64_t gap = 16; ranges->size() > kListedChanges && gap < (std::uint64_t{1} << 32); gap *= 8) {
    joined = coalesce(*ranges, gap);
    ranges = &joined;
  }
  std::vector<PlacedChange> changes;
  for (const ChangedRange& range : *ranges)
    changes.push_back({range.place.memory,
                       range.place.range,
                       range.kind,
                       range.region,
                       {},
                       is_refused(*comparison.plan->map, range)});
  return changes;
}

class ComparisonPage {
 public:
  explicit ComparisonPage(const ComparisonView& view)
      : view_(view),
        draft_(*view.draft),
        comparison_(view.draft->comparison),
        map_(*comparison_.plan->map),
        bytes_(bytes_of(comparison_)),
        changes_(drawn_changes(comparison_)),
        windows_(windows_of(map_, changes_)),
        ground_(ground_of(*comparison_.plan, *comparison_.before)) {}

  std::string title() const {
    return "Draft" + (view_.job.empty() ? "" : " for job " + view_.job) + ", " + map_.controller;
  }

  Html body() const {
    const Sides sides{*comparison_.before, draft_.after};
    return heading() + band() + refused() + limits() + glance() +
           memories_section(ground_, changes_, windows_, false) + coarse() +
           changes_section(ground_, changes_, false) + checks() +
           places_section(ground_, changes_, windows_, sides, false) + files();
  }

 private:
  Html heading() const {
    return element("header", element("p.kind", "Comparison before a seal"),
                   element("h1", "Draft",
                           element("span.title", view_.job.empty() ? Html() : "Job " + said(view_.job) + ", ",
                                   said(map_.controller))),
                   element("p.lead", "Region map ", said(region_map_words(map_))));
  }

  Html band() const {
    constexpr std::string_view kWord = "DRAFT – NOT SEALED, NOTHING PROVED";
    if (comparison_.is_confined())
      return verdict_band(
          Stance::kNotVerified, kWord,
          "As these files stand, every changed byte lies within the areas declared by the region map. "
          "Sealing computes all of it again; until then this is a picture and no proof.",
          Html());
    const std::size_t count = comparison_.proof.violations.size();
    const Html why = comparison_.disbelief
                         ? "Sealing refuses them: the region map does not hold on the image before."
                         : "Sealing refuses them as they stand, for " + counted(count, "reason", "reasons") +
                               " named below.";
    return verdict_band(Stance::kBad, kWord, why,
                        comparison_.disbelief ? error_facts(*comparison_.disbelief) : Html());
  }

  Html refused() const {
    const std::vector<Error>& violations = comparison_.proof.violations;
    Html out;
    if (draft_.not_corrected)
      out += warning("The checks could not be corrected, so the image after is shown as it was given.") +
             error_facts(*draft_.not_corrected);
    if (!violations.empty()) {
      Table table("what a seal refuses", {{"where"}, {"reason"}, {"found"}, {"expected"}, {"next"}});
      for (std::size_t i = 0; i < violations.size() && i < kMostViolations; ++i) {
        const Error& one = violations[i];
        table.add({said(one.place), code(calseal::code(one.reason)), said(one.found), said(one.expected),
                   said(one.next)});
      }
      out += table.html();
      if (violations.size() > kMostViolations)
        out += element("p.quiet", "and " + grouped(violations.size() - kMostViolations) +
                                      " more; calseal compare --json lists them");
    }
    if (out.empty()) return {};
    return section("What a seal refuses", "Crosses in the strips below show where.", out);
  }

  Html limits() const {
    std::vector<ItemChange> items;
    for (const ChangedItem& item : comparison_.changes.items) items.push_back(item.change);
    const std::vector<ItemBreach> breaches = judge_changed_items(items, draft_.after);
    Html out;
    for (std::size_t i = 0; i < breaches.size() && i < kMostLimits; ++i)
      out += warning(said(breach_text(breaches[i])));
    if (breaches.size() > kMostLimits)
      out += element("p.quiet", "and " + grouped(breaches.size() - kMostLimits) + " more");
    if (out.empty()) return {};
    return section("Past their limits", "The region map states these limits. A seal asks for a reason.", out);
  }

  Html glance() const {
    const auto figure = [](std::uint64_t value, const Html& label) {
      return element("div", element("dt", label), element("dd", number(value)));
    };
    Html figures = figure(bytes_.edited, "bytes edited") +
                   figure(bytes_.corrected, "bytes corrected after them") +
                   figure(bytes_.refused, "bytes where a revision may not change") +
                   figure(comparison_.changes.items.size(), "calibration items changed");
    Facts facts;
    facts.add("may be edited",
              share_of_image(editable_share(*comparison_.plan, *comparison_.before)) + " of the known image");
    if (comparison_.changes.editable_bytes > 0)
      facts.add("named by no item", byte_count(comparison_.changes.editable_bytes) + " in " +
                                        counted(comparison_.changes.editable_runs, "place", "places"));
    for (std::size_t i = 0; i < comparison_.changes.texts.size() && i < kMostLimits; ++i) {
      const ChangedText& text = comparison_.changes.texts[i];
      facts.add(text.name, said(text.before) + " → " + said(text.after));
    }
    return section("At a glance", "The image after against the image before.",
                   element("dl.figures", figures) + facts.html());
  }

  // Where the pictures hold less than the comparison.
  Html coarse() const {
    if (changes_.size() == comparison_.proof.changes.size()) return {};
    return section("Many places", Html(),
                   element("p", "The two images differ in " +
                                    counted(comparison_.proof.changes.size(), "place", "places") +
                                    ". Neighbours are drawn as one, and the table by region counts what "
                                    "lies between them. The figures at the top are exact."));
  }

  Html checks() const {
    const std::vector<CheckOutcome>& checks = comparison_.proof.checks;
    if (checks.empty()) return {};
    Table table("checks of the image after", {{"name"}, {"state"}, {"before correction"}, {"value"}});
    for (std::size_t i = 0; i < checks.size() && i < kMostChecks; ++i) {
      const auto fix = std::ranges::find(draft_.corrected.corrections, checks[i].name, &Correction::name);
      const bool fixed = fix != draft_.corrected.corrections.end();
      table.add({said(checks[i].name), check_state(checks[i].state),
                 fixed && !checks[i].is_copy ? code(hex_excerpt(fix->before, 8))
                 : fixed                     ? Html("corrected")
                                             : Html(),
                 checks[i].is_copy ? Html() : code(hex_of(checks[i].stored))});
    }
    Html out = table.html();
    if (checks.size() > kMostChecks)
      out += element("p.quiet", "and " + grouped(checks.size() - kMostChecks) + " more");
    return section("Checksums and copies", checks_summary(checks) + " after correction.", out);
  }

  static std::string hex_of(const std::string& digits) {
    return digits.size() > 24 ? digits.substr(0, 24) + "..." : digits;
  }

  Html files() const {
    Facts facts;
    for (const ComparedFile& file : view_.files)
      facts.add(file.side, said(file.name) + " " + code(digest_text(file.digest)));
    return section("Files", "What was compared, by SHA-256.", facts.html());
  }

  const ComparisonView& view_;
  const DraftComparison& draft_;
  const Comparison& comparison_;
  const RegionMap& map_;
  ChangedBytes bytes_;
  std::vector<PlacedChange> changes_;
  Windows windows_;
  PictureGround ground_;
};

}  // namespace

void compare_draft(const Plan& plan, const Image& before, Image after, DraftComparison& draft) {
  draft.after = std::move(after);
  if (believe_map(plan, before)) {
    // A correction that ends with an error leaves what it did before.
    Image corrected = draft.after;
    auto report = correct(plan, corrected);
    if (report) {
      draft.after = std::move(corrected);
      draft.corrected = *std::move(report);
    } else {
      draft.not_corrected = std::move(report).error();
    }
  }
  draft.comparison = compare_and_prove(plan, before, draft.after);
}

std::string comparison_html(const ComparisonView& view) {
  const ComparisonPage page(view);
  return html_document({page.title(), view.tool, page.body()});
}

JsonValue comparison_summary_json(const ComparisonView& view) {
  const Comparison& comparison = view.draft->comparison;
  const ChangedBytes bytes = bytes_of(comparison);
  return json_object({{"kind", json("comparison")},
                      {"confined", json(comparison.is_confined())},
                      {"changed_bytes", json(comparison.proof.changed_bytes())},
                      {"corrected_bytes", json(bytes.corrected)},
                      {"refused_bytes", json(bytes.refused)},
                      {"items", json(comparison.changes.items.size())},
                      {"violations", json(comparison.proof.violations.size())}});
}

}  // namespace calseal
