#include "calseal/sign/next_revision.h"

#include <utility>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/check/claims.h"
#include "calseal/check/payload.h"
#include "calseal/check/wrapping_note.h"
#include "calseal/sign/edited_image.h"
#include "calseal/sign/seal_account.h"

namespace calseal {
namespace {

SealRequest begin_request(const RegionMap& map, RevisionPlace place, const Signing& signing) {
  SealRequest request;
  request.map = &map;
  request.followed = std::move(place.followed);
  RevisionStatement& said = request.statement;
  said.revision = place.revision;
  said.sequence = place.sequence;
  said.parent = place.parent;
  said.approvals = signing.approvals;
  said.tool = signing.tool;
  said.claimed_time = signing.now;
  return request;
}

std::string place_in_job(const std::string& job, std::uint64_t base, const std::string& controller) {
  return "job " + job + ", base " + std::to_string(base) + ", " + controller;
}

// Everything that the tuner said, as he said it then.
Status repeat_words(const OpenedBundle& revision, RevisionStatement& said) {
  const Manifest& manifest = revision.manifest;
  said.base_reason = manifest.base_reason;
  said.vehicle_reference = manifest.vehicle_reference;
  said.expires = manifest.expires;
  said.required_roles = manifest.required_roles;
  said.title = manifest.title;
  said.notes = manifest.notes;
  said.permitted_returns = manifest.permitted_returns;
  said.options = manifest.options;
  said.ordered = manifest.ordered;
  said.requirements = manifest.requirements;
  said.cautions = manifest.cautions;
  said.annotations = manifest.annotations;
  for (const ManifestAttachment& attachment : manifest.attachments) {
    CALSEAL_ASSIGN(Bytes content,
                   read_content(revision.file, revision.framing, manifest, attachment.entry, revision.name));
    said.attachments.push_back(
        {attachment.entry.substr(attachment.entry.rfind('/') + 1), attachment.title, std::move(content)});
  }
  return {};
}

// seal() writes the stated reasons itself, from what it is told.
void take_reasons(SealRequest& request) {
  std::erase_if(request.statement.annotations, [&](const auto& one) {
    if (one.first == kUnaccountedAnnotation) request.unaccounted_reason = one.second;
    if (one.first == kLimitAnnotation) request.limits_reason = one.second;
    return one.first == kUnaccountedAnnotation || one.first == kLimitAnnotation;
  });
}

}  // namespace

Result<OpenedBundle> open_issued(NamedBytes bundle, const Signing& signing, RolesRule roles) {
  std::vector<Step> steps = all_steps();
  OpenContext context;
  context.trust = signing.trust;
  context.now = signing.now;
  context.roles = roles;
  return open_sealed(std::move(bundle.bytes), bundle.name, context, steps);
}

Result<OpenedBundle> open_issued_file(const std::string& path, const Signing& signing, RolesRule roles) {
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
  return open_issued({printable(path), std::move(bytes)}, signing, roles);
}

RevisionPlace place_behind(const OpenedBundle& before, std::uint64_t revision) {
  return {revision, before.manifest.sequence + 1, before.digest, {before.map, before.manifest.approvals}};
}

Result<RevisionPlace> place_on(const OpenedBundle& base, const OpenedBundle* parent, const RegionMap& map) {
  const Manifest& way_back = base.manifest;
  if (way_back.revision != 0) {
    return fail({Reason::kUsage, "", "--base-bundle", "revision " + std::to_string(way_back.revision),
                 "revision 0 of the job's base", "give revision 0 here and the newest revision as --parent"});
  }
  if (parent == nullptr) return place_behind(base, 1);
  const Manifest& before = parent->manifest;
  const std::string found = place_in_job(before.job, before.base_number, before.controller().name);
  const std::string expected = place_in_job(way_back.job, way_back.base_number, map.controller);
  if (found != expected) {
    return fail({Reason::kUsage, "", "--parent", found, expected,
                 "give a revision of the same job, base and controller"});
  }
  return place_behind(*parent, before.revision + 1);
}

SealRequest request_for_base(const RegionMap& map, const Read& read, const BaseStatement& said,
                             RevisionPlace place, const Signing& signing) {
  SealRequest request = begin_request(map, std::move(place), signing);
  request.base = read.image;
  request.result = read.image;
  request.files = describe_received(read);
  request.as_received = said.as_received;
  RevisionStatement& statement = request.statement;
  statement.job = said.job;
  statement.base_number = said.number;
  statement.base_reason = said.reason;
  statement.title = said.title;
  statement.vehicle_reference = said.vehicle_reference;
  statement.annotations = said.annotations;
  for (auto& note : wrapping_notes(read)) statement.annotations.push_back(std::move(note));
  return request;
}

SealRequest request_on(const OpenedBundle& base, const RegionMap& map, RevisionPlace place,
                       const Signing& signing) {
  SealRequest request = begin_request(map, std::move(place), signing);
  request.base = base_image(base, map);
  request.result = request.base;
  RevisionStatement& said = request.statement;
  said.job = base.manifest.job;
  said.base_number = base.manifest.base_number;
  said.base_reason = base.manifest.base_reason;
  said.vehicle_reference = base.manifest.vehicle_reference;
  return request;
}

Result<SealRequest> request_again(const OpenedBundle& revision, const OpenedBundle& base, RevisionPlace place,
                                  const Signing& signing) {
  SealRequest request = request_on(base, revision.map, std::move(place), signing);
  CALSEAL_CHECK(repeat_words(revision, request.statement));
  take_reasons(request);
  request.payload = PayloadKind::kFull;
  lay_payload(revision, request.result);
  // Floating places are the customer's own; the image that is sealed holds the right ones for this read.
  CALSEAL_ASSIGN(const Plan plan, make_plan(revision.map, request.base));
  CALSEAL_CHECK(correct(plan, request.result, CorrectionScope::kFloating));
  return request;
}

Status lay_result(SealRequest& request, std::vector<ReadFile> edited) {
  CALSEAL_ASSIGN(request.result, lay_edit(*request.map, request.base, std::move(edited)));
  return {};
}

Result<CorrectionReport> correct_result(SealRequest& request) {
  CALSEAL_ASSIGN(const Plan plan, make_plan(*request.map, request.base));
  return correct(plan, request.result);
}

Status require_salt_of(const Manifest& base, const std::optional<Bytes>& salt, const std::string& file,
                       const std::string& next) {
  if (!base.salt_digest || (salt && compute_sha256(*salt) == *base.salt_digest)) return {};
  return fail({Reason::kSaltWrong, file, "", salt ? "another salt" : "no salt",
               "the salt of this job, as in its base bundle", next});
}

}  // namespace calseal
