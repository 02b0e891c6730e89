// Whether the bundles of a job are in its folder, not only somewhere in the archive.
#include <algorithm>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

// A revision that was moved out of its job is in nobody's next hand-over, although nothing is lost yet.
void judge_place(Judging& judging, const LedgerSeal& sealed) {
  const Judging::Files there = judging.with_identity(sealed.identity);
  if (there.empty()) return;  // said already: missing, altered, or damaged
  const std::string place =
      judging.place_of(sealed.job, sealed.controller, sealed.base, sealed.revision, sealed.sequence);
  // What stands in its place was judged there, and a job.json of another job tells nothing of places.
  if (place.empty() || judging.any_at(place) || judging.record().find(place) != nullptr) return;
  const std::string folder = join_path(folder_of(folder_of(place)), "");
  if (judging.any_at(folder + std::string(kJobFile))) return;
  const bool is_within =
      std::ranges::any_of(there, [&](const FileFacts* facts) { return facts->path.starts_with(folder); });
  if (is_within) return;
  Finding& finding = judging.find(
      FindingCode::kJobFileMissing, place,
      revision_subject(sealed.job, sealed.controller, sealed.base, sealed.revision),
      "sealed in this job, and now only outside of its folder: " + path_text(there.front()->path));
  finding.wanted =
      WantedFile{WantedFile::By::kIdentity, place, sealed.identity, FileKind::kBundle, std::nullopt};
}

}  // namespace

void judge_places(Judging& judging) {
  for (const LedgerSeal* seal : judging.seals()) judge_place(judging, *seal);
  for (const FileFacts& facts : judging.record().files) {
    if (facts.kind != FileKind::kJobEvents || !facts.job) continue;
    const FileFacts* const job = judging.record().find(join_path(folder_of(facts.path), kJobFile));
    if (job == nullptr || !job->job) continue;
    for (const JobClaim::Sealed& sealed : facts.job->sealed)
      judge_place(judging, {0,
                            sealed.identity,
                            job->job->job,
                            job->job->controller,
                            sealed.base,
                            sealed.revision,
                            sealed.sequence,
                            {}});
  }
}

}  // namespace calseal
