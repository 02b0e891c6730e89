#include "calseal/job/reissue.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/job/customer_check.h"
#include "calseal/job/job_options.h"
#include "calseal/job/send.h"

namespace calseal {
namespace {

tl::unexpected<Error> reissue_usage(std::uint64_t number, std::string found, std::string expected,
                                    std::string next) {
  return fail({Reason::kUsage, "", "revision " + std::to_string(number), std::move(found),
               std::move(expected), std::move(next)});
}

// Names what the bundle stands for, and lets a customer return from every later revision, which are told.
std::vector<std::uint64_t> state_return(const JobBase& base, const JobRevision& revision,
                                        RevisionStatement& said) {
  std::erase_if(said.annotations, [](const auto& one) { return one.first == kReissueAnnotation; });
  said.annotations.emplace_back(std::string(kReissueAnnotation),
                                digest_text(revision.reissue_of.value_or(revision.digest)));
  std::vector<std::uint64_t> passed_over;
  for (const JobRevision& later : base.revisions) {
    if (later.number() <= revision.number() || later.withdrawn ||
        later.manifest.sequence <= revision.manifest.sequence)
      continue;
    passed_over.push_back(later.number());
    said.permitted_returns.push_back(later.digest);
  }
  std::ranges::sort(said.permitted_returns);
  said.permitted_returns.erase(std::unique(said.permitted_returns.begin(), said.permitted_returns.end()),
                               said.permitted_returns.end());
  return passed_over;
}

}  // namespace

Result<Reissued> reissue(const Job& job, std::uint64_t number, const Signing& signing) {
  const JobBase& current = job.base();
  const JobRevision* revision = current.find(number);
  if (revision == nullptr)
    return reissue_usage(number, "no such revision", "a revision of " + base_folder(current.number),
                         "see calseal job status");
  if (number == 0) return Reissued{revision->file, revision->digest, true, {}};
  if (revision->withdrawn) {
    return fail({Reason::kWithdrawn, printable(job.folder), revision->file, "a revision that was withdrawn",
                 "one that may be written", "send a new revision"});
  }
  CALSEAL_ASSIGN(const OpenedBundle opened, open_kept(job, *revision, signing));
  if (opened.set)
    return reissue_usage(number, "a member of a set", "a revision that stands alone",
                         "renew the whole set: calseal job send FOLDER --set renew");
  CALSEAL_ASSIGN(const OpenedBundle way_back, open_way_back(job, signing));
  CALSEAL_ASSIGN(const std::optional<Bytes> salt, load_salt_of(job, way_back));
  CALSEAL_ASSIGN(RevisionPlace place, next_place(job, number, opened.manifest.parent, opened.map, signing));
  CALSEAL_ASSIGN(SealRequest request, request_again(opened, way_back, std::move(place), signing));
  CALSEAL_ASSIGN(request.options, options_of(job, current, opened.manifest));
  RevisionStatement& said = request.statement;
  Reissued made;
  made.passed_over = state_return(current, *revision, said);
  request.salt = salt;
  CALSEAL_ASSIGN(const SealedBundle sealed, seal(request, signing.keys, *signing.trust));
  if (sealed.manifest.controller().pinned_after != opened.manifest.controller().pinned_after) {
    return fail({Reason::kResultMismatch, opened.name, "", "another image than the revision",
                 "the same image, to the byte", "keep the job folder, and report this"});
  }
  CALSEAL_ASSIGN(std::vector<ReadFile> read, read_of_base(job, way_back));
  CALSEAL_CHECK(check_as_customer(
      sealed, opened.map, request.result,
      {signing.trust_file, std::move(read), salt, said.vehicle_reference, signing.now, {}}));
  made.bundle = bundle_file(current.number, number, said.sequence);
  made.identity = sealed.digest;
  const Event event = sealed_event(EventKind::kReissued, sealed, made.bundle);
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {event}));
  CALSEAL_CHECK(
      write_files({{job.folder + "/" + made.bundle, sealed.file, FileMode::kPublic, Existing::kRefuse},
                   {job.folder + "/" + std::string(kEventsFile), view_of(events)}}));
  return made;
}

}  // namespace calseal
