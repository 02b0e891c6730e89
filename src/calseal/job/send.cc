#include "calseal/job/send.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/check/payload.h"
#include "calseal/job/customer_check.h"

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
  return open_issued_file(job.folder + "/" + revision.file, signing);
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
  CALSEAL_CHECK(require_salt_of(way_back.manifest, salt, printable(job.folder + "/" + std::string(kSaltFile)),
                                "put the job's salt back; the customer has a copy"));
  return salt;
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

// Writes the bundle and what belongs to it. The bundle is what makes the revision, so the rest stands before
// it, and the note comes last.
Status keep(const Job& job, const std::vector<NewFile>& kept, const Sent& sent) {
  const Event event = sealed_event(EventKind::kSealed, sent.sealed, sent.bundle);
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {event}));
  std::vector<std::string> paths;
  for (const NewFile& file : kept) paths.push_back(job.folder + "/" + file.path);
  const std::string bundle_path = job.folder + "/" + sent.bundle;
  const std::string events_path = job.folder + "/" + std::string(kEventsFile);
  std::vector<PendingFile> pending;
  for (std::size_t i = 0; i < kept.size(); ++i) pending.push_back({paths[i], kept[i].bytes});
  pending.push_back({bundle_path, sent.sealed.file, FileMode::kPublic, Existing::kRefuse});
  pending.push_back({events_path, view_of(events)});
  return write_files(pending);
}

// What a person said of the revision.
void state_words(const SendRequest& said, SealRequest& request) {
  request.statement.expires = said.expires;
  request.statement.title = said.title;
  request.statement.notes = said.notes;
  request.statement.requirements = said.requirements;
  request.statement.cautions = said.cautions;
  request.options = said.options;
  request.unaccounted_reason = said.unaccounted_reason;
  request.limits_reason = said.limits_reason;
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
  const std::uint64_t number = job.highest_revision() + 1;
  CALSEAL_ASSIGN(RevisionPlace place, next_place(job, number, parent->digest, sent.map, signing));
  SealRequest next = request_on(way_back, sent.map, std::move(place), signing);
  CALSEAL_CHECK(lay_result(next, request.edited));
  CALSEAL_ASSIGN(sent.corrections, correct_result(next));
  state_words(request, next);
  next.salt = salt;
  CALSEAL_ASSIGN(sent.sealed, seal(next, signing.keys, *signing.trust));
  sent.base = std::move(next.base);
  sent.result = std::move(next.result);
  if (!request.options.empty()) {
    CALSEAL_ASSIGN(const Plan plan, make_plan(sent.map, sent.base));
    CALSEAL_ASSIGN(sent.account, make_account(plan, sent.base, sent.result, request.options));
  }
  CALSEAL_ASSIGN(std::vector<ReadFile> read, read_of_base(job, way_back));
  CALSEAL_CHECK(check_as_customer(
      sent.sealed, sent.map, sent.result,
      {signing.trust_file, std::move(read), salt, next.statement.vehicle_reference, signing.now}));
  sent.bundle = bundle_file(current.number, number);
  CALSEAL_CHECK(keep(job, kept_files(job, number, request), sent));
  return sent;
}

}  // namespace calseal
