#include "calseal/check/rules.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/check/known.h"
#include "calseal/trust/approval.h"

namespace calseal {
namespace {

constexpr std::size_t kNamed = 3;  // of a list, before "and 7 more"

std::string some_of(const std::vector<std::string>& words) {
  std::string text;
  for (std::size_t i = 0; i < words.size() && i < kNamed; ++i) text += (i == 0 ? "" : ", ") + words[i];
  if (words.size() > kNamed) text += " and " + std::to_string(words.size() - kNamed) + " more";
  return text;
}

// Regions of the map in which a change lies, and the memory itself where none does.
void add_regions(const PolicyChange& change, const RegionMap& map, std::vector<std::string>& names) {
  const std::size_t memory = map.memory_index(change.memory);
  bool found = false;
  const auto add = [&](const std::string& name) {
    if (std::ranges::find(names, name) == names.end()) names.push_back(name);
    found = true;
  };
  for (const Region& region : map.regions) {
    if (region.place.memory == memory && region.place.range.overlaps(change.range)) add(region.name);
  }
  if (!found) add(change.memory);
}

std::string declaration_text(const DeclarationChange& change) {
  const std::string what = std::string(declaration_kind_name(change.kind)) +
                           (change.name.empty() ? "" : " " + change.name) +
                           (change.kind == DeclarationChange::Kind::kEraseSectors ? " are" : " is");
  switch (change.how) {
    case DeclarationChange::How::kAdded:
      return what + " new";
    case DeclarationChange::How::kRemoved:
      return what + " gone";
    case DeclarationChange::How::kChanged:
      return what + " different";
  }
  return what;
}

// The map that the state knows for this bundle, and what it has kept of it.
struct KnownMap {
  Sha256 digest;
  std::optional<RegionMap> map;  // nothing: its text was not kept, or cannot be read
};

std::optional<KnownMap> find_known(const std::vector<const JobState*>& jobs, const OrderEvidence& evidence,
                                   const OpenedBundle& opened) {
  const std::optional<Sha256> digest = known_map(jobs, *evidence.trust);
  if (!digest || *digest == opened.map.digest) return std::nullopt;
  KnownMap known{*digest, std::nullopt};
  if (const Bytes* text = evidence.state->find_map(*digest)) {
    if (Result<RegionMap> map = parse_region_map(*text, "the state's region map"))
      known.map = *std::move(map);
  }
  return known;
}

// What is allowed now and was not before, in words; empty where nothing is.
std::string more_allowed(const KnownMap& known, const RegionMap& map) {
  if (!known.map)
    return "whether the shop's rules allow more cannot be told: the state has not kept the known ones";
  const MapDiff diff = diff_region_maps(*known.map, map);
  return diff.widens ? widening_text(diff, map) : "";
}

std::string map_words(const RegionMap& map) { return map.name + " version " + std::to_string(map.version); }

std::string approved_text(const std::vector<const Approval*>& way) {
  std::string text;
  for (const Approval* approval : way) {
    std::string signers;
    for (const std::string& name : approval->signers)
      signers += (signers.empty() ? "" : ", ") + printable(name, 60);
    text += "; approved by " + signers + " at " + approval->claimed_time +
            " (claimed): " + printable(approval->text);
  }
  return text;
}

}  // namespace

std::string widening_text(const MapDiff& diff, const RegionMap& after) {
  std::uint64_t bytes = 0;
  std::vector<std::string> regions, declarations;
  for (const PolicyChange& change : diff.policies) {
    if (!change.widens) continue;
    bytes += change.range.size();
    add_regions(change, after, regions);
  }
  for (const DeclarationChange& change : diff.declarations) {
    if (change.widens) declarations.push_back(declaration_text(change));
  }
  std::string text;
  if (bytes > 0) {
    text = "the shop's rules now allow " + grouped(bytes) + " more " + (bytes == 1 ? "byte" : "bytes") +
           " to change, " + some_of(regions) + " among them";
  }
  if (declarations.empty()) return text;
  return (text.empty() ? "the shop's rules are looser now: " : text + "; ") + some_of(declarations);
}

Status judge_rules(OpenedBundle& opened, const OrderEvidence& evidence) {
  if (!evidence.state) return {};
  const Manifest& manifest = opened.manifest;
  const std::vector<const JobState*> jobs =
      known_jobs(*evidence.state, *evidence.trust, manifest.job, manifest.controller().name);
  if (manifest.revision == 0 && accepted_way_back(jobs, opened.digest)) return {};
  const std::optional<KnownMap> known = find_known(jobs, evidence, opened);
  if (!known) return {};
  const std::string place = "regions/" + manifest.controller().name + ".json";
  std::string allows = more_allowed(*known, opened.map);
  if (known->map && known->map->name == opened.map.name && known->map->version == opened.map.version) {
    return fail({Reason::kRulesChanged, opened.name, place,
                 (allows.empty() ? "the shop's rules are other ones, and allow nothing more" : allows) +
                     "; " + map_words(opened.map) + " was accepted before with another text",
                 "one text under one name and version, or a new version",
                 "do not use this bundle; ask the shop, which may have sealed by mistake or lost a key"});
  }
  if (allows.empty()) return {};
  const Approvals approvals =
      judge_approvals(manifest.approvals, manifest.controller().name, *evidence.trust);
  if (const auto way = approvals_lead(approvals.counting, known->digest, opened.map.digest)) {
    opened.cautions.push_back({"rules-widened", allows + approved_text(*way)});
    return {};
  }
  for (const std::string& why : approvals.others) allows += "; " + why;
  return fail(
      {Reason::kRulesWidened, opened.name, place, std::move(allows),
       "no more than " + (known->map ? map_words(*known->map) : "the map accepted before") +
           " allows, or an approval by who may give it",
       "do not write it; ask the shop by voice whether it has changed its rules, and for a bundle with "
       "its approval"});
}

}  // namespace calseal
