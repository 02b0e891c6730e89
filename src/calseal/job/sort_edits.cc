#include "calseal/job/sort_edits.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/job/mend_map.h"
#include "calseal/job/send.h"
#include "calseal/map/identity.h"
#include "calseal/sign/edited_image.h"

namespace calseal {
namespace {

struct Candidate {
  const Job* job = nullptr;
  RegionMap map;
  Image base;
};

bool takes(const Candidate& candidate, const ReadFile& file) {
  if (!load_held_read(candidate.map, {file})) return false;
  const Result<Image> laid = lay_edit(candidate.map, candidate.base, {file});
  return laid && recognise_family(candidate.map, *laid);
}

Result<const Job*> owner_of(const VehicleJob& job, const LooseFile& loose,
                            const std::vector<Candidate>& candidates) {
  if (!loose.controller.empty()) return one_controller(job, loose.controller);
  std::vector<const Job*> owners;
  for (const Candidate& candidate : candidates) {
    if (takes(candidate, loose.file)) owners.push_back(candidate.job);
  }
  if (owners.size() == 1) return owners.front();
  if (owners.empty()) {
    return fail({Reason::kFamilyMismatch, loose.file.name, "", "no controller of this job takes this file",
                 "an edit of what was read, in the form in which it was read",
                 "see calseal job status for the reads; calseal identify says what the file is"});
  }
  const std::string name = owners[0]->facts.controller;
  return fail({Reason::kUsage, loose.file.name, "",
               "a file that fits " + name + " and " + owners[1]->facts.controller,
               "the controller that it is of", "name it: " + name + ".MEMORY=FILE"});
}

}  // namespace

Result<std::vector<ControllerFiles>> sort_edits(const VehicleJob& job, const std::vector<LooseFile>& files,
                                                const Signing& signing) {
  std::vector<const Job*> open;
  for (const Job& one : job.controllers) {
    if (!one.closed()) open.push_back(&one);
  }
  std::vector<Candidate> candidates;
  for (const Job* one : open) {
    if (open.size() == 1 || one->base().way_back() == nullptr) continue;
    CALSEAL_ASSIGN(const OpenedBundle way_back, open_way_back(*one, signing));
    CALSEAL_ASSIGN(RegionMap map, map_in_force(*one, way_back));
    Image base = base_image(way_back, map);
    candidates.push_back({one, std::move(map), std::move(base)});
  }
  std::vector<ControllerFiles> sorted;
  for (const LooseFile& loose : files) {
    const Job* owner = open.size() == 1 ? open.front() : nullptr;
    if (owner == nullptr || !loose.controller.empty()) {
      CALSEAL_ASSIGN(owner, owner_of(job, loose, candidates));
    }
    const auto at = std::ranges::find(sorted, owner->facts.controller, &ControllerFiles::controller);
    if (at == sorted.end()) {
      sorted.push_back({owner->facts.controller, {loose.file}});
    } else {
      at->files.push_back(loose.file);
    }
  }
  std::ranges::sort(sorted, {}, &ControllerFiles::controller);
  return sorted;
}

}  // namespace calseal
