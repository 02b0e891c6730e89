#include "calseal/job/reissue.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/check/payload.h"
#include "calseal/job/customer_check.h"
#include "calseal/job/job_options.h"
#include "calseal/job/send.h"
#include "calseal/sign/edited_image.h"

namespace calseal {
namespace {

// Under these names sealing keeps the reasons that were stated.
constexpr std::string_view kUnaccountedAnnotation = "unaccounted";
constexpr std::string_view kLimitAnnotation = "limits";

tl::unexpected<Error> wrong(std::uint64_t number, std::string found, std::string expected, std::string next) {
  return fail({Reason::kUsage, "", "revision " + std::to_string(number), std::move(found),
               std::move(expected), std::move(next)});
}

// Everything that the tuner said, as he said it then.
Result<RevisionStatement> same_words(const OpenedBundle& opened) {
  const Manifest& manifest = opened.manifest;
  RevisionStatement said;
  said.job = manifest.job;
  said.base_number = manifest.base_number;
  said.base_reason = manifest.base_reason;
  said.revision = manifest.revision;
  said.parent = manifest.parent;
  said.expires = manifest.expires;
  said.required_roles = manifest.required_roles;
  said.title = manifest.title;
  said.notes = manifest.notes;
  said.vehicle_reference = manifest.vehicle_reference;
  said.permitted_returns = manifest.permitted_returns;
  said.options = manifest.options;
  said.requirements = manifest.requirements;
  said.cautions = manifest.cautions;
  said.annotations = manifest.annotations;
  for (const ManifestAttachment& attachment : manifest.attachments) {
    CALSEAL_ASSIGN(Bytes content,
                   read_content(opened.file, opened.framing, manifest, attachment.entry, opened.name));
    said.attachments.push_back(
        {attachment.entry.substr(attachment.entry.rfind('/') + 1), attachment.title, std::move(content)});
  }
  return said;
}

}  // namespace

Result<Reissued> reissue(const Job& job, std::uint64_t number, const Signing& signing) {
  const JobBase& current = job.base();
  const JobRevision* revision = current.find(number);
  if (revision == nullptr)
    return wrong(number, "no such revision", "a revision of " + base_folder(current.number),
                 "see calseal job status");
  if (number == 0) return Reissued{revision->file, revision->digest, true, {}};
  if (revision->withdrawn) {
    return fail({Reason::kWithdrawn, printable(job.folder), revision->file, "a revision that was withdrawn",
                 "one that may be written", "send a new revision"});
  }
  CALSEAL_CHECK(require_way_back(job));
  CALSEAL_ASSIGN(const OpenedBundle opened, open_kept(job, *revision, signing));
  if (opened.set)
    return wrong(number, "a member of a set", "a revision that stands alone",
                 "seal all members of the set again, with calseal seal and calseal set");
  CALSEAL_ASSIGN(const OpenedBundle way_back, open_way_back(job, signing));
  CALSEAL_ASSIGN(const std::optional<Bytes> salt, load_salt_of(job, way_back));
  SealRequest request;
  request.map = &opened.map;
  CALSEAL_ASSIGN(request.statement, same_words(opened));
  RevisionStatement& said = request.statement;
  said.sequence = job.highest_sequence() + 1;
  said.claimed_time = signing.now;
  said.tool = signing.tool;
  said.approvals = signing.approvals;
  CALSEAL_ASSIGN(request.followed, followed_rules(job, opened.map, signing));
  CALSEAL_ASSIGN(request.options, options_of(job, current, opened.manifest));
  // seal() writes the two stated reasons itself, from what it is told.
  std::erase_if(said.annotations, [&](const auto& one) {
    if (one.first == kUnaccountedAnnotation) request.unaccounted_reason = one.second;
    if (one.first == kLimitAnnotation) request.limits_reason = one.second;
    return one.first == kReissueAnnotation || one.first == kUnaccountedAnnotation ||
           one.first == kLimitAnnotation;
  });
  said.annotations.emplace_back(std::string(kReissueAnnotation),
                                digest_text(revision->reissue_of.value_or(revision->digest)));
  Reissued made;
  for (const JobRevision& later : current.revisions) {
    if (later.number() <= number || later.withdrawn || later.manifest.sequence <= revision->manifest.sequence)
      continue;
    made.passed_over.push_back(later.number());
    said.permitted_returns.push_back(later.digest);
  }
  std::ranges::sort(said.permitted_returns);
  said.permitted_returns.erase(std::unique(said.permitted_returns.begin(), said.permitted_returns.end()),
                               said.permitted_returns.end());
  request.base = base_image(way_back, opened.map);
  request.result = request.base;
  lay_payload(opened, request.result);
  // Floating places are the customer's own; the image that is sealed holds the right ones for this read.
  CALSEAL_ASSIGN(const Plan plan, make_plan(opened.map, request.base));
  CALSEAL_CHECK(correct(plan, request.result, CorrectionScope::kFloating));
  request.salt = salt;
  request.payload = PayloadKind::kFull;
  CALSEAL_ASSIGN(const SealedBundle sealed, seal(request, signing.keys, *signing.trust));
  if (sealed.manifest.controller().pinned_after != opened.manifest.controller().pinned_after) {
    return fail({Reason::kResultMismatch, opened.name, "", "another image than the revision",
                 "the same image, to the byte", "keep the job folder, and report this"});
  }
  CALSEAL_ASSIGN(std::vector<ReadFile> read, read_of_base(job, way_back));
  CALSEAL_CHECK(
      check_as_customer(sealed, opened.map, request.result,
                        {signing.trust_file, std::move(read), salt, said.vehicle_reference, signing.now}));
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
