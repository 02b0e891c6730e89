#include <cstdio>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/study/study_report.h"

namespace calseal {
namespace {

// The check whose result the map keeps where the field stands: then the number was recomputed.
const CheckOutcome* recomputed(const ReadJudgement& judgement, const IdentityField& field) {
  for (const CheckOutcome& check : judgement.checks) {
    for (const Place& place : check.places) {
      if (place.memory == field.place.memory && place.range.overlaps(field.place.range)) return &check;
    }
  }
  return nullptr;
}

// "raw" once where all files have one form, else file by file.
std::string form_words(const std::vector<ReadSource>& sources) {
  std::string words;
  bool one = true;
  for (const ReadSource& source : sources) {
    words += (words.empty() ? "" : ", then ") + source.form;
    one = one && source.form == sources.front().form;
  }
  return one && !sources.empty() ? sources.front().form : words;
}

}  // namespace

std::string read_grade_words(ReadGrade grade) {
  switch (grade) {
    case ReadGrade::kMatchesKnownStock:
      return "matches a known stock";
    case ReadGrade::kNotComparable:
      return "not comparable: no known stock of this software number was given";
    case ReadGrade::kDiffersFromKnownStock:
      return "differs from a known stock: somebody changed it before";
    case ReadGrade::kChecksumsFail:
      return "checksums fail";
  }
  return "";
}

std::string identity_words(const ReadJudgement& judgement, const IdentityValue& value) {
  std::string text = !value.known ? "not read" : value.blank ? "blank" : value.text;
  if (value.known && !value.blank && !value.well_formed) text += " (not in the declared form)";
  if (value.field->kind == IdentityKind::kVerificationNumber && value.known) {
    const CheckOutcome* check = recomputed(judgement, *value.field);
    text += check == nullptr ? " (as stored; the map does not say how to recompute it)"
                             : " (recomputed: " + std::string(check_state_name(check->state)) + ")";
  }
  if (!value.caution.empty()) text += "; caution: " + value.caution;
  return text;
}

std::string recognition_words(const ReadJudgement& judgement) {
  if (judgement.recognised) return "yes";
  const Error& why = judgement.recognition_error;
  return "NO [" + std::string(code(why.reason)) + "] " + why.place + ": found " + why.found + "; expected " +
         why.expected;
}

std::string read_use_words(const ReadJudgement& judgement) {
  if (!judgement.sound()) {
    return judgement.recognised && judgement.whole
               ? "read again; if it came so, seal it as evidence and way back (--as-received) and build on a "
                 "known stock (job carry --stock)"
               : "keep it as evidence and read again; nothing should be built on it";
  }
  if (judgement.grade == ReadGrade::kDiffersFromKnownStock) {
    return "it can be sealed as evidence and way back, but it is not stock; a known stock can be the next "
           "base "
           "(job carry --stock)";
  }
  if (!judgement.whole) return "it can be worked with within the limits above";
  return judgement.grade == ReadGrade::kMatchesKnownStock
             ? "it can serve as base"
             : "it can serve as base; nothing shows that it is stock";
}

std::string read_judgement_text(const RegionMap& map, const std::string& name, const ReadJudgement& judgement,
                                const Page& page) {
  std::string text = labelled(page, "read", name) + labelled(page, "region map", region_map_words(map)) +
                     labelled(page, "recognised", recognition_words(judgement),
                              judgement.recognised ? Mark::kGood : Mark::kBad);
  text += labelled(page, "form", form_words(judgement.read.sources));
  Columns identity;
  for (const IdentityValue& value : judgement.identity) {
    identity.add({{value.field->name},
                  {identity_words(judgement, value), value.caution.empty() ? Mark::kPlain : Mark::kCaution}});
  }
  if (!identity.empty()) text += "\n" + identity.text(page, 2) + "\n";
  text += labelled(page, "checks", checks_summary(judgement.checks));
  for (const std::string& limit : judgement.limits) text += labelled(page, "limit", limit, Mark::kCaution);
  for (const Damage& damage : judgement.damage) {
    text += labelled(page, "finding",
                     std::string(damage_name(damage.kind)) + ": " + damage.place + ": " + damage.found +
                         ". " + std::string(damage_meaning(damage.kind)) + "; " +
                         std::string(damage_advice(damage.kind)) + ".",
                     Mark::kBad);
  }
  if (!judgement.stock.empty()) text += labelled(page, "stock", judgement.stock);
  constexpr std::size_t kShown = 12;
  for (std::size_t i = 0; i < judgement.differences.size() && i < kShown; ++i) {
    const ChangedRange& change = judgement.differences[i];
    text += labelled(page, "differs",
                     place_text(map, change.place) + (change.region.empty() ? "" : " in " + change.region));
  }
  if (judgement.differences.size() > kShown) {
    text += labelled(page, "differs",
                     "and " + counted(judgement.differences.size() - kShown, "range", "ranges") + " more");
  }
  text += labelled(page, "grade", read_grade_words(judgement.grade),
                   judgement.sound() ? Mark::kGood : Mark::kBad);
  return text + labelled(page, "use", read_use_words(judgement));
}

JsonValue read_judgement_json(const RegionMap& map, const std::string& name, const ReadJudgement& judgement) {
  return json_object(
      {{"read", json(name)},
       {"region_map", region_map_json(map)},
       {"recognised", json(judgement.recognised)},
       {"recognition_error", judgement.recognised ? JsonValue{} : json_error(judgement.recognition_error)},
       {"forms",
        json_array(judgement.read.sources, [](const ReadSource& source) { return json(source.form); })},
       {"whole", json(judgement.whole)},
       {"identity", json_array(judgement.identity,
                               [&](const IdentityValue& value) {
                                 const CheckOutcome* check = recomputed(judgement, *value.field);
                                 return json_object(
                                     {{"name", json(value.field->name)},
                                      {"kind", json(identity_kind_name(value.field->kind))},
                                      {"known", json(value.known)},
                                      {"blank", json(value.blank)},
                                      {"well_formed", json(value.well_formed)},
                                      {"text", json(value.text)},
                                      {"recomputed", json(check == nullptr ? std::string_view()
                                                                           : check_state_name(check->state))},
                                      {"caution", json(value.caution)}});
                               })},
       {"checks", checks_json(map, judgement.checks)},
       {"limits", json_strings(judgement.limits)},
       {"findings", json_array(judgement.damage,
                               [](const Damage& damage) {
                                 return json_object({{"kind", json(damage_name(damage.kind))},
                                                     {"place", json(damage.place)},
                                                     {"found", json(damage.found)},
                                                     {"meaning", json(damage_meaning(damage.kind))},
                                                     {"next", json(damage_advice(damage.kind))}});
                               })},
       {"grade", json(read_grade_name(judgement.grade))},
       {"stock", json(judgement.stock)},
       {"differences", json_array(judgement.differences,
                                  [&](const ChangedRange& change) { return place_json(map, change.place); })},
       {"sound", json(judgement.sound())}});
}

std::string vote_text(const RegionMap& map, const Vote& vote, std::size_t reads, const Page& page) {
  const std::size_t all = reads;
  reads = static_cast<std::size_t>(std::ranges::count(vote.compared, true));
  std::string text = labelled(page, "reads", counted(reads, "read", "reads") + " compared");
  for (std::size_t i = 0; i < all; ++i) {
    if (!vote.compared[i])
      text +=
          labelled(page, "no vote", "read " + std::to_string(i + 1) + " holds other bytes than the fullest",
                   Mark::kCaution);
  }
  text += labelled(page, "volatile", bytes_text(vote.volatile_bytes) + " differ, as they may");
  text += labelled(page, "agreement",
                   vote.only_volatile() ? "they differ in volatile bytes only"
                                        : "they DIFFER in bytes that do not move by themselves",
                   vote.only_volatile() ? Mark::kGood : Mark::kBad);
  constexpr std::size_t kShown = 12;
  for (std::size_t i = 0; i < vote.disagreements.size() && i < kShown; ++i) {
    const ChangedRange& change = vote.disagreements[i];
    text += labelled(page, "differs",
                     place_text(map, change.place) + (change.region.empty() ? "" : " in " + change.region));
  }
  if (vote.disagreements.size() > kShown) {
    text += labelled(page, "differs",
                     "and " + counted(vote.disagreements.size() - kShown, "range", "ranges") + " more");
  }
  if (reads < 3) return text;
  text += labelled(page, "vote",
                   bytes_text(vote.unanimous) + " unanimous, " + grouped(vote.outvoted) + " by majority, " +
                       grouped(vote.tied) + " undecided");
  char expected[32];
  std::snprintf(expected, sizeof expected, "%.2g", vote.wrong_expected.value_or(0));
  text += labelled(page, "sureness",
                   "bytes expected wrong after the vote: " + std::string(expected) +
                       ", if reads err independently; a fault that all reads share is seen by checks alone");
  return text + labelled(page, "checks",
                         vote.image ? checks_summary(vote.checks) : "not verified: the vote is undecided");
}

JsonValue vote_json(const RegionMap& map, const Vote& vote) {
  char expected[32] = "";
  if (vote.wrong_expected) std::snprintf(expected, sizeof expected, "%.3e", *vote.wrong_expected);
  return json_object(
      {{"only_volatile", json(vote.only_volatile())},
       {"disagreements",
        json_array(vote.disagreements, [&](const ChangedRange& c) { return place_json(map, c.place); })},
       {"volatile_bytes", json(vote.volatile_bytes)},
       {"unanimous", json(vote.unanimous)},
       {"by_majority", json(vote.outvoted)},
       {"undecided", json(vote.tied)},
       {"compared", json_array(vote.compared, [](bool one) { return json(one); })},
       {"minority", json_array(vote.minority, [](std::uint64_t times) { return json(times); })},
       {"wrong_expected", json(expected)},
       {"checks", checks_json(map, vote.checks)}});
}

std::string map_choice_text(const RegionMapLibrary& library, const MapChoice& choice, const Page& page) {
  std::string text;
  for (const MapFit& fit : choice.fits) {
    const LibraryMap& map = library.maps[fit.map];
    std::string why = !fit.superseded_by.empty() ? "fits; " + fit.superseded_by + " has a higher version"
                      : fit.recognised           ? "fits"
                                       : fit.why_not.place + ": found " + fit.why_not.found + "; expected " +
                                             fit.why_not.expected;
    if (choice.chosen == fit.map) why = "chosen";
    text += labelled(page, "considered", map.file + ": " + why);
  }
  for (const Error& fault : library.faulty) {
    text +=
        labelled(page, "faulty map", fault.file + " [" + std::string(code(fault.reason)) + "] " + fault.place,
                 Mark::kCaution);
  }
  return text;
}

}  // namespace calseal
