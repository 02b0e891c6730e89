// Jobs made by hand, without a folder: just enough for what looks at facts and marks.
#pragma once

#include <string>

#include "calseal/job/job.h"

namespace calseal {

inline JobRevision sample_revision(std::uint64_t base, std::uint64_t number, std::uint64_t sequence,
                                   const std::string& mark = "", const std::string& verification = "") {
  JobRevision revision;
  revision.file = "base-" + std::to_string(base) + "/r" + std::to_string(number) + ".calseal";
  revision.digest = compute_sha256(view_of(revision.file + std::to_string(sequence)));
  revision.manifest.base_number = base;
  revision.manifest.revision = number;
  revision.manifest.sequence = sequence;
  revision.manifest.controllers.emplace_back();
  revision.manifest.controllers.front().identity = {{"mark", mark}, {"cvn", verification}};
  revision.identity_kinds = {"revision-mark", "verification-number"};
  return revision;
}

inline Event sample_event(EventKind kind, const JobRevision& revision) {
  Event event;
  event.time = "2026-03-04T05:06:07Z";
  event.kind = kind;
  event.base = revision.manifest.base_number;
  event.revision = revision.number();
  event.identity = revision.digest;
  return event;
}

// Base 1 with revisions 0 to `newest`.
inline Job sample_job(std::uint64_t newest) {
  Job job;
  job.folder = "oak-17";
  job.facts = {"oak-17", "engine", "blue estate", "2026-03-04T05:06:07Z"};
  job.bases.emplace_back();
  for (std::uint64_t n = 0; n <= newest; ++n)
    job.bases.back().revisions.push_back(
        sample_revision(1, n, n + 1, "MARK-" + std::to_string(n), "a1b2c3d" + std::to_string(n)));
  return job;
}

}  // namespace calseal
