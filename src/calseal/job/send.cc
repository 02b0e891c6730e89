#include "calseal/job/send.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/check/payload.h"
#include "calseal/job/customer_check.h"
#include "calseal/sign/edited_image.h"

namespace calseal {
namespace {

Result<const JobRevision*> sealed_way_back(const Job& job) {
  const JobRevision* way_back = job.base().way_back();
  if (way_back != nullptr) return way_back;
  return fail({Reason::kJobOrder, printable(job.folder), base_folder(job.base().number), "no revision 0",
               "the way back, sealed first", "run calseal job send on the folder without an edited image"});
}

}  // namespace

Result<OpenedBundle> open_kept(const Job& job, const JobRevision& revision, const Signing& signing) {
  const std::string path = job.folder + "/" + revision.file;
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
  std::vector<Step> steps = all_steps();
  OpenContext context;
  context.trust = signing.trust;
  context.now = signing.now;
  return open_sealed(std::move(bytes), printable(path), context, steps);
}

Result<OpenedBundle> open_way_back(const Job& job, const Signing& signing) {
  CALSEAL_ASSIGN(const JobRevision* const way_back, sealed_way_back(job));
  return open_kept(job, *way_back, signing);
}

Status require_way_back(const Job& job) {
  CALSEAL_ASSIGN(const JobRevision* const way_back, sealed_way_back(job));
  if (!job.has(EventKind::kAcknowledged, *way_back)) {
    const bool sent = job.has(EventKind::kSent, *way_back);
    return fail({Reason::kJobOrder, printable(job.folder), way_back->file,
                 sent ? "the way back was sent, and the customer has not acknowledged it"
                      : "the way back was not handed over",
                 "a customer who holds the way back before anything newer reaches him",
                 sent ? "ask him, then: calseal job note FOLDER acknowledged --revision 0"
                      : "hand it over, then: calseal job note FOLDER sent --revision 0 --detail CHANNEL"});
  }
  return {};
}

Result<std::optional<Bytes>> load_salt_of(const Job& job, const OpenedBundle& way_back) {
  CALSEAL_ASSIGN(std::optional<Bytes> salt, load_job_salt(job.folder));
  const std::optional<Sha256>& sealed = way_back.manifest.salt_digest;
  if (!sealed || (salt && compute_sha256(*salt) == *sealed)) return salt;
  return fail({Reason::kSaltWrong, printable(job.folder + "/" + std::string(kSaltFile)), "",
               salt ? "another salt" : "no salt", "the salt of this job, as in its base bundle",
               "put the job's salt back; the customer has a copy"});
}

Result<std::vector<ReadFile>> read_of_base(const Job& job, const OpenedBundle& way_back) {
  std::vector<Sha256> sealed;
  for (const ManifestFile& file : way_back.manifest.controller().files) sealed.push_back(file.digest);
  auto kept = load_kept_read(job.folder, way_back.manifest.base_number);
  const auto is_sealed = [&](const ReadFile& file) {
    return std::ranges::find(sealed, compute_sha256(file.bytes)) != sealed.end();
  };
  if (kept && kept->size() == sealed.size() && std::ranges::all_of(*kept, is_sealed)) return kept;
  // The bundle holds the read too, though not in its first form.
  std::vector<ReadFile> files;
  Image carried = image_of_base(way_back);
  for (Memory& memory : carried.memories) {
    if (!memory.knows(memory.extent)) {
      return fail({Reason::kJobDamaged, printable(job.folder),
                   base_folder(way_back.manifest.base_number) + "/read",
                   "not the files that revision 0 was sealed from", "the read as it was received",
                   "put the read back"});
    }
    files.push_back({memory.name, way_back.name, std::move(memory.bytes)});
  }
  return files;
}

namespace {

// What is kept besides the bundle. Files of an edit carry the revision's number; an option's name is its own.
std::vector<NewFile> kept_files(const Job& job, std::uint64_t revision, const SendRequest& request) {
  const std::uint64_t base = job.base().number;
  std::vector<NewFile> files;
  const std::string folder = base_folder(base);
  for (const ReadFile& file : request.edited)
    files.push_back(
        {folder + "/edited/r" + std::to_string(revision) + "-" + read_file_name(file), file.bytes});
  for (const OptionFile& option : request.options) {
    if (const std::string path = option_file_to_write(job, option); !path.empty())
      files.push_back({path, option.text});
  }
  return files;
}

}  // namespace

Result<Sent> send(const Job& job, SendRequest request, const Signing& signing) {
  CALSEAL_CHECK(require_way_back(job));
  const JobBase& current = job.base();
  const JobRevision* parent = request.parent ? current.find(*request.parent) : current.newest();
  if (parent == nullptr) {
    return fail({Reason::kUsage, "", "--parent", "revision " + std::to_string(*request.parent),
                 "a revision of " + base_folder(current.number), "see calseal job status"});
  }
  CALSEAL_ASSIGN(const OpenedBundle way_back, open_way_back(job, signing));
  CALSEAL_ASSIGN(const std::optional<Bytes> salt, load_salt_of(job, way_back));
  Sent sent;
  sent.map = way_back.map;
  sent.base = base_image(way_back, sent.map);
  CALSEAL_ASSIGN(sent.result, lay_edit(sent.map, sent.base, request.edited));
  CALSEAL_ASSIGN(const Plan plan, make_plan(sent.map, sent.base));
  CALSEAL_ASSIGN(sent.corrections, correct(plan, sent.result));
  const std::uint64_t number = job.highest_revision() + 1;
  SealRequest seal_request;
  seal_request.map = &sent.map;
  RevisionStatement& said = seal_request.statement;
  said.job = job.facts.job;
  said.base_number = current.number;
  said.base_reason = way_back.manifest.base_reason;
  said.revision = number;
  said.sequence = job.highest_sequence() + 1;
  said.parent = parent->digest;
  said.expires = request.expires;
  said.title = request.title;
  said.notes = request.notes;
  said.requirements = request.requirements;
  said.cautions = request.cautions;
  said.vehicle_reference = way_back.manifest.vehicle_reference;
  said.tool = signing.tool;
  said.claimed_time = signing.now;
  said.approvals = signing.approvals;
  CALSEAL_ASSIGN(seal_request.followed, followed_rules(job, sent.map, signing));
  seal_request.base = sent.base;
  seal_request.result = sent.result;
  seal_request.salt = salt;
  seal_request.options = request.options;
  seal_request.unaccounted_reason = request.unaccounted_reason;
  seal_request.limits_reason = request.limits_reason;
  CALSEAL_ASSIGN(sent.sealed, seal(seal_request, signing.keys, *signing.trust));
  if (!request.options.empty()) {
    CALSEAL_ASSIGN(sent.account, make_account(plan, sent.base, sent.result, request.options));
  }
  CALSEAL_ASSIGN(std::vector<ReadFile> read, read_of_base(job, way_back));
  CALSEAL_CHECK(
      check_as_customer(sent.sealed, sent.map, sent.result,
                        {signing.trust_file, std::move(read), salt, said.vehicle_reference, signing.now}));
  sent.bundle = bundle_file(current.number, number);
  const std::vector<NewFile> kept = kept_files(job, number, request);
  const Event event = sealed_event(EventKind::kSealed, sent.sealed, sent.bundle);
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {event}));
  std::vector<std::string> paths;
  for (const NewFile& file : kept) paths.push_back(job.folder + "/" + file.path);
  const std::string bundle_path = job.folder + "/" + sent.bundle;
  const std::string events_path = job.folder + "/" + std::string(kEventsFile);
  std::vector<PendingFile> pending;
  for (std::size_t i = 0; i < kept.size(); ++i) pending.push_back({paths[i], kept[i].bytes});
  // The bundle is what makes the revision, so all that belongs to it stands before it, and the note comes
  // last.
  pending.push_back({bundle_path, sent.sealed.file, FileMode::kPublic, Existing::kRefuse});
  pending.push_back({events_path, view_of(events)});
  CALSEAL_CHECK(write_files(pending));
  return sent;
}

}  // namespace calseal
