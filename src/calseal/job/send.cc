#include "calseal/job/send.h"

#include <algorithm>
#include <filesystem>
#include <memory>

#include "calseal/base/text.h"
#include "calseal/check/claims.h"
#include "calseal/check/payload.h"
#include "calseal/job/customer_check.h"
#include "calseal/job/mend_map.h"
#include "calseal/job/possible_time.h"
#include "calseal/sign/set_make.h"

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

Result<OpenedBundle> reopen(const Job& job, const JobRevision& revision) {
  const std::string path = job.folder + "/" + revision.file;
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
  CALSEAL_ASSIGN(OpenedBundle opened, open_unverified(std::move(bytes), printable(path)));
  if (opened.digest == revision.digest) return opened;
  return fail({Reason::kJobDamaged, printable(path), "", "another revision than a moment ago",
               "a folder that nobody else changes", "run the command again"});
}

Result<OpenedBundle> open_way_back(const Job& job, const Signing& signing) {
  CALSEAL_ASSIGN(const JobRevision* const way_back, sealed_way_back(job));
  return open_kept(job, *way_back, signing);
}

bool way_back_acknowledged(const Job& job) {
  const JobRevision* way_back = job.base().way_back();
  return way_back != nullptr && job.has(EventKind::kAcknowledged, *way_back);
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

// What a person said of the revision.
void state_words(const SendRequest& said, SealRequest& request) {
  request.statement.expires = said.expires;
  request.statement.title = said.title;
  request.statement.notes = said.notes;
  request.statement.requirements = said.requirements;
  request.statement.cautions = said.cautions;
  request.statement.required_roles = said.required_roles;
  request.statement.attachments = said.attachments;
  request.statement.permitted_returns = said.permitted_returns;
  request.statement.ordered = said.ordered;
  request.options = said.options;
  request.unaccounted_reason = said.unaccounted_reason;
  request.limits_reason = said.limits_reason;
}

// One controller's revision on its way.
class Part {
 public:
  Part(const Job& job, SendRequest request, const Signing& signing)
      : job_(job), request_(std::move(request)), signing_(signing) {}

  // Everything that can be refused before a key is opened.
  Status prepare() {
    CALSEAL_CHECK(find_parent());
    CALSEAL_CHECK(require_possible_time(job_.folder, signing_.now, parent_->manifest.claimed_time,
                                        "revision " + std::to_string(parent_->number()) + " claims"));
    CALSEAL_ASSIGN(way_back_, open_way_back(job_, signing_));
    CALSEAL_ASSIGN(salt_, load_salt_of(job_, way_back_));
    sent_.controller = job_.facts.controller;
    sent_.parent = parent_->number();
    sent_.way_back_acknowledged = way_back_acknowledged(job_);
    CALSEAL_ASSIGN(sent_.map, map_in_force(job_, way_back_));
    number_ = job_.highest_revision() + 1;
    CALSEAL_ASSIGN(RevisionPlace place, next_place(job_, number_, parent_->digest, sent_.map, signing_));
    CALSEAL_ASSIGN(const OpenedBundle parent, reopen(job_, *parent_));
    CALSEAL_CHECK(request_.again ? repeat(parent, std::move(place)) : lay(std::move(place)));
    next_.salt = salt_;
    sent_.before = next_.base;
    lay_payload(parent, sent_.before);
    return request_.unchanged || request_.again ? Status() : require_change();
  }

  // `set`: nothing yet while the set is being made.
  Status seal_as(const std::optional<SetDescriptor>& set) {
    next_.statement.set = set;
    CALSEAL_ASSIGN(sent_.sealed, seal(next_, signing_.keys, *signing_.trust));
    return {};
  }

  Status check(std::vector<NamedBytes> partners) {
    CALSEAL_ASSIGN(std::vector<ReadFile> read, read_of_base(job_, way_back_));
    const CustomerSide customer{
        signing_.trust_file, std::move(read),    salt_, next_.statement.vehicle_reference,
        signing_.now,        std::move(partners)};
    CALSEAL_CHECK(check_as_customer(sent_.sealed, sent_.map, next_.result, customer));
    sent_.needs_fresh_read = needs_fresh_read(sent_.sealed, customer);
    return {};
  }

  // The edit and the options, as they are kept in the controller's folder. Files of an edit carry the
  // revision's number; an option's name is its own.
  std::vector<NewFile> kept() const {
    std::vector<NewFile> files;
    const std::string edited = base_folder(job_.base().number) + "/edited/r" + std::to_string(number_) + "-";
    for (std::size_t i = 0; i < request_.edited.size(); ++i)
      files.push_back({edited + read_file_name(request_.edited, i), request_.edited[i].bytes});
    for (const OptionFile& option : request_.options) {
      if (const std::string path = option_file_to_write(job_, option, number_); !path.empty())
        files.push_back({path, option.text});
    }
    for (NewFile& file : files) file.path = job_.folder + "/" + file.path;
    return files;
  }

  const SealedBundle& sealed() const { return sent_.sealed; }
  HandedBundle handed() const {
    return handed_bundle(bundle_file(job_.base().number, number_), sent_.sealed);
  }

  Result<Sent> result() {
    sent_.bundle = bundle_file(job_.base().number, number_);
    sent_.base = std::move(next_.base);
    sent_.result = std::move(next_.result);
    if (!next_.options.empty()) {
      CALSEAL_ASSIGN(const Plan plan, make_plan(sent_.map, sent_.base));
      CALSEAL_ASSIGN(sent_.account, make_account(plan, sent_.base, sent_.result, next_.options));
    }
    return std::move(sent_);
  }

 private:
  Status find_parent() {
    CALSEAL_CHECK(sealed_way_back(job_));
    const JobBase& base = job_.base();
    parent_ = request_.parent ? base.find(*request_.parent) : base.newest();
    if (parent_ != nullptr) return {};
    return fail({Reason::kUsage, printable(job_.folder), "--parent",
                 "revision " + std::to_string(*request_.parent), "a revision of " + base_folder(base.number),
                 "see calseal job status"});
  }

  Status lay(RevisionPlace place) {
    next_ = request_on(way_back_, sent_.map, std::move(place), signing_);
    if (!request_.edited.empty()) {
      CALSEAL_ASSIGN(const Read edited, load_held_read(sent_.map, request_.edited));
      name_memories(edited, request_.edited);
      CALSEAL_CHECK(lay_result(next_, request_.edited));
    }
    CALSEAL_ASSIGN(const Plan plan, make_plan(sent_.map, next_.base));
    if (!request_.options.empty()) {
      CALSEAL_ASSIGN(sent_.composed,
                     put_in_options(plan, next_.base, request_.options, request_.stated, next_.result));
    }
    CALSEAL_ASSIGN(sent_.corrections, correct_result(next_));
    CALSEAL_CHECK(require_named(plan));
    state_words(request_, next_);
    return {};
  }

  // The newest revision's image and words once more.
  Status repeat(const OpenedBundle& newest, RevisionPlace place) {
    CALSEAL_ASSIGN(next_, request_again(newest, way_back_, std::move(place), signing_));
    next_.map = &sent_.map;
    next_.payload = PayloadKind::kAreas;
    CALSEAL_ASSIGN(next_.options, options_of(job_, job_.base(), newest.manifest));
    return {};
  }

  // Step 4 of docs/job.md, "What was ordered".
  Status require_named(const Plan& plan) const {
    if (request_.not_in_it.empty()) return {};
    CALSEAL_ASSIGN(const OptionFile* const found,
                   find_undeclared(plan, next_.base, next_.result, request_.options, request_.not_in_it));
    if (found == nullptr) return {};
    return fail({Reason::kOrderOpen, printable(job_.folder), "option " + found->option.name,
                 "the image holds all of it, and this revision does not name it",
                 "every option that is in the image",
                 "name it with --option " + printable(found->file) +
                     ", with the others that are in it, or take it out of the edit"});
  }

  // An edit that was not made, or the edit of last time.
  Status require_change() const {
    CALSEAL_ASSIGN(const Plan plan, make_plan(sent_.map, next_.base));
    const Sha256 result = pinned_digest_of(plan, next_.result);
    std::string whose;
    if (result == pinned_digest_of(plan, next_.base)) whose = "the base's own, byte for byte where it counts";
    if (result == pinned_digest_of(plan, sent_.before))
      whose = "that of revision " + std::to_string(sent_.parent);
    if (whose.empty()) return {};
    return fail({Reason::kJobOrder, printable(job_.folder), "", "nothing changed: the image is " + whose,
                 "an image that the editor changed, or options that are not in it yet",
                 "give the edited file; to seal this image all the same, give --unchanged"});
  }

  const Job& job_;
  SendRequest request_;
  const Signing& signing_;
  const JobRevision* parent_ = nullptr;
  OpenedBundle way_back_;
  std::optional<Bytes> salt_;
  std::uint64_t number_ = 1;
  SealRequest next_;
  Sent sent_;
};

using Parts = std::vector<std::unique_ptr<Part>>;

// What every member of the set embeds. Nothing that it names of a member depends on the set itself.
Result<std::optional<SetDescriptor>> seal_parts(Parts& parts, const std::optional<SetWish>& wish) {
  for (const auto& part : parts) CALSEAL_CHECK(part->seal_as(std::nullopt));
  if (!wish || parts.size() < 2) return std::optional<SetDescriptor>();
  std::vector<Manifest> members;
  for (const auto& part : parts) members.push_back(part->sealed().manifest);
  CALSEAL_ASSIGN(SetDescriptor set, make_set(members, wish->write_order, wish->drivable_between));
  for (const auto& part : parts) CALSEAL_CHECK(part->seal_as(set));
  return std::optional(std::move(set));
}

Status check_parts(const Parts& parts, bool is_set) {
  for (const auto& part : parts) {
    std::vector<NamedBytes> partners;
    for (const auto& other : parts) {
      if (is_set && other != part) partners.push_back({other->handed().name, other->sealed().file});
    }
    CALSEAL_CHECK(part->check(std::move(partners)));
  }
  return {};
}

// Edits and options first, then the hand-over, which makes the revisions, then their places and the notes.
Status keep(const VehicleJob& job, const Parts& parts, const SendMessage& message, SentTogether& sent) {
  std::vector<HandedBundle> bundles;
  std::vector<NewFile> kept;
  for (const auto& part : parts) {
    bundles.push_back(part->handed());
    for (NewFile& file : part->kept()) kept.push_back(std::move(file));
  }
  for (const auto& part : parts) {
    CALSEAL_ASSIGN(Sent one, part->result());
    sent.parts.push_back(std::move(one));
  }
  std::vector<PendingFile> pending;
  std::vector<std::string> added;
  for (const NewFile& file : kept) {
    pending.push_back({file.path, file.bytes});
    if (!exists(file.path)) added.push_back(file.path);
  }
  if (!pending.empty()) CALSEAL_CHECK(write_files(pending));
  Result<std::string> handover = make_handover(job.folder, bundles, message(sent));
  if (!handover) {
    std::error_code ignored;
    for (const std::string& path : added) std::filesystem::remove(path, ignored);
    return fail(std::move(handover).error());
  }
  sent.handover = *std::move(handover);
  if (Status placed = place_bundles(job.folder, bundles); !placed) {
    Error error = placed.error();
    error.next = "sealed, and whole in " + printable(job.folder + "/" + sent.handover) +
                 "; once that is mended, the next command that changes the job puts it in its place";
    return fail(std::move(error));
  }
  return {};
}

}  // namespace

Result<SentTogether> send(const VehicleJob& job, std::vector<SendRequest> requests,
                          const std::optional<SetWish>& wish, const Signing& signing,
                          const SendMessage& message) {
  Parts parts;
  for (SendRequest& request : requests) {
    CALSEAL_ASSIGN(const Job* const one, one_controller(job, request.controller));
    parts.push_back(std::make_unique<Part>(*one, std::move(request), signing));
    CALSEAL_CHECK(parts.back()->prepare());
  }
  SentTogether sent;
  CALSEAL_ASSIGN(sent.set, seal_parts(parts, wish));
  CALSEAL_CHECK(check_parts(parts, sent.set.has_value()));
  CALSEAL_CHECK(keep(job, parts, message, sent));
  return sent;
}

}  // namespace calseal
