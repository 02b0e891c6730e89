// What must hold of a verdict over a bundle that somebody with a listed key may have made with ill will.
// Judged byte by byte from the bundle's own region map and claims, without the checker's proofs.
#pragma once

#include <algorithm>

#include "calseal/check/check.h"
#include "calseal/report/verdict/verdict_report.h"
#include "fuzz/must.h"
#include "support/check_reference.h"

namespace calseal {

inline bool holds(const Place& place, std::size_t memory, std::uint64_t address) {
  return place.memory == memory && place.range.contains(address);
}

// Whether the region map lets a revision change this byte, leaving aside what value it may get.
inline bool may_change(const RegionMap& map, std::size_t memory, std::uint64_t address) {
  const auto here = [&](const Place& place) { return holds(place, memory, address); };
  for (const SignedPart& part : map.signed_parts) {
    if (std::ranges::any_of(part.places, here)) return false;
  }
  for (const IdentityField& field : map.identity) {
    if (field.binds && here(field.place)) return false;
  }
  for (const Region& region : map.regions) {
    if (region.policy == Policy::kEditable && here(region.place)) return true;
  }
  for (const PermittedPatch& patch : map.patches) {
    if (here(patch.place)) return true;
  }
  for (const Copy& copy : map.copies) {
    if (here(copy.to)) return true;
  }
  for (const Checksum& checksum : map.checksums) {
    for (const Slot& slot : checksum.slots) {
      if (here(slot.place)) return true;
    }
    if (checksum.rule && checksum.rule->balance && here(*checksum.rule->balance)) return true;
  }
  return false;
}

// Checks that a way back may leave failing: they failed when it was received, and it says so (docs/proof.md,
// "Checksums").
inline std::vector<std::string> came_failing(const Manifest& manifest) {
  std::vector<std::string> names;
  if (manifest.revision != 0) return names;
  for (const ManifestChecksum& check : manifest.controller().checksums) {
    if (check.state == CheckState::kFails) names.push_back(check.name);
  }
  return names;
}

// `before` was read, `after` is what the checker built from it; `may_fail` names checks.
inline void check_confined(const RegionMap& map, const Image& before, const Image& after,
                           const std::vector<std::string>& may_fail) {
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    const Memory& was = before.memories[m];
    const Memory& is = after.memories[m];
    must(was.known == is.known, "what was unknown stays unknown");
    for (const Range& range : was.known.ranges()) {
      for (std::uint64_t address = range.begin; address < range.end; ++address) {
        const std::size_t at = static_cast<std::size_t>(address - was.extent.begin);
        if (was.bytes[at] != is.bytes[at])
          must(may_change(map, m, address), "only declared bytes are changed");
      }
    }
  }
  for (const PermittedPatch& patch : map.patches) {
    const Memory& memory = after.memories[patch.place.memory];
    if (!memory.knows(patch.place.range)) continue;
    const ByteView found = memory.view(patch.place.range);
    must(std::ranges::equal(found, patch.before) || std::ranges::equal(found, patch.after),
         "a permitted patch stands whole");
  }
  const bool all_known = std::ranges::all_of(
      after.memories, [](const Memory& memory) { return memory.known == RangeSet(memory.extent); });
  const bool judged = std::ranges::none_of(
      map.checksums, [](const Checksum& c) { return c.algorithm.kind == AlgorithmKind::kSha256; });
  if (!all_known || !judged) return;
  for (const std::string& name : reference::wrong_ones(map, after))
    must(std::ranges::find(may_fail, name) != may_fail.end(), "checksums and copies hold");
}

inline void check_sealed(const Manifest& manifest, const Image& after) {
  for (const ManifestSpan& span : manifest.controller().spans) {
    if (!span.after) continue;
    const Memory* memory = after.find(span.place.memory);
    must(memory != nullptr && compute_sha256(memory->view(span.place.range)) == *span.after,
         "the rebuilt image is the sealed one");
  }
}

// `bundle` and `files` are what was checked.
inline void check_verdict(const Verdict& verdict, const Bytes& bundle, const std::vector<ReadFile>& files) {
  (void)verdict_text(verdict, [](Emphasis, std::string_view text) { return std::string(text); });
  const std::string json = canonical_json(verdict_json(verdict));
  must(parse_json(json, "verdict").has_value(), "a verdict is strict JSON");
  if (verdict.outcome == Outcome::kRefused) {
    must(verdict.reason.has_value() && verdict.files.empty(), "a refusal has a reason and no image");
    must_explain(*verdict.reason);
    return;
  }
  must(!verdict.reason, "only a refusal has a reason");
  for (const Step& step : verdict.steps) {
    must(step.state == StepState::kPassed || step.state == StepState::kNotAsked,
         "no step failed or was left out unsaid");
  }
  if (verdict.outcome == Outcome::kAuthentic) {
    must(verdict.files.empty(), "a seal alone gives no image");
    return;
  }
  if (files.empty()) return;  // revived: judged by the file digests below
  const auto opened = open_unverified(bundle, "bundle");
  must(opened.has_value(), "what is accepted can be opened");
  std::vector<ReadFile> rebuilt;
  must(verdict.files.size() == files.size(), "one rebuilt file for each file of the read");
  for (std::size_t i = 0; i < files.size(); ++i)
    rebuilt.push_back({files[i].memory, files[i].name, verdict.files[i].bytes});
  const auto before = load_read(opened->map, files);
  const auto after = load_read(opened->map, std::move(rebuilt));
  must(before.has_value() && after.has_value(), "read and result fit the region map");
  const std::vector<std::string> may_fail = came_failing(opened->manifest);
  must(may_fail.empty() ||
           std::ranges::find(verdict.cautions, "received-failing", &Caution::code) != verdict.cautions.end(),
       "what may fail is told");
  check_confined(opened->map, before->image, after->image, may_fail);
  check_sealed(opened->manifest, after->image);
}

}  // namespace calseal
