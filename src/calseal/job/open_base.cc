#include "calseal/job/open_base.h"

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/check.h"
#include "calseal/check/claims.h"
#include "calseal/check/wrapping_note.h"
#include "calseal/job/customer_check.h"
#include "calseal/map/correct.h"
#include "calseal/sign/believe_base.h"

namespace calseal {
namespace {

Event opened_event(const std::string& time, std::uint64_t base, const std::string& reason) {
  Event event;
  event.time = time;
  event.kind = EventKind::kOpened;
  event.base = base;
  event.detail = reason;
  return event;
}

}  // namespace

Event sealed_event(EventKind kind, const SealedBundle& sealed, const std::string& file) {
  Event event;
  event.time = sealed.manifest.claimed_time;
  event.kind = kind;
  event.base = sealed.manifest.base_number;
  event.revision = sealed.manifest.revision;
  event.sequence = sealed.manifest.sequence;
  event.identity = sealed.digest;
  event.file = file;
  event.digest = compute_sha256(sealed.file);
  return event;
}

const std::vector<std::string>& base_subfolders() {
  static const std::vector<std::string> names{"read", "edited", "options"};
  return names;
}

Result<std::optional<Bytes>> load_job_salt(const std::string& folder) {
  const std::string path = folder + "/" + std::string(kSaltFile);
  if (!exists(path)) return std::optional<Bytes>();
  CALSEAL_ASSIGN(const Bytes text, read_file(path, 4096));
  CALSEAL_ASSIGN(Bytes salt, parse_salt(text, printable(path)));
  return std::optional<Bytes>(std::move(salt));
}

Result<BaseParts> load_base(Bytes region_map, const std::string& region_map_name, std::vector<ReadFile> files,
                            bool as_received) {
  BaseParts base;
  CALSEAL_ASSIGN(base.map, parse_region_map(std::move(region_map), region_map_name));
  base.files = files;
  CALSEAL_ASSIGN(base.read, load_read(base.map, std::move(files)));
  const std::string name = base.files.front().name;
  const auto plan = make_plan(base.map, base.read.image);
  if (!plan) return fail(in_file(plan.error(), name));
  Status status = as_received ? recognise_received(*plan, base.read.image)
                              : believe_base(*plan, base.read.image, verify_checks(*plan, base.read.image));
  if (!status) return fail(in_file(status.error(), name));
  return base;
}

Result<SealedBundle> seal_base(const BaseParts& base, const BaseStatement& said,
                               const std::optional<Bytes>& salt, const Signing& signing,
                               FollowedRules followed) {
  SealRequest request;
  request.map = &base.map;
  request.followed = std::move(followed);
  request.statement.approvals = signing.approvals;
  RevisionStatement& statement = request.statement;
  statement.job = said.job;
  statement.base_number = said.number;
  statement.base_reason = said.reason;
  statement.sequence = said.sequence;
  statement.parent = said.parent;
  statement.title = said.title;
  statement.vehicle_reference = said.vehicle_reference;
  statement.tool = signing.tool;
  statement.claimed_time = signing.now;
  request.base = base.read.image;
  request.result = base.read.image;
  request.files = describe_received(base.read);
  request.salt = salt;
  request.as_received = said.as_received;
  statement.annotations = said.annotations;
  for (auto& note : wrapping_notes(base.read)) statement.annotations.push_back(std::move(note));
  CALSEAL_ASSIGN(SealedBundle sealed, seal(request, signing.keys, *signing.trust));
  // What floats is corrected for whatever read the customer has, this one included.
  Image expected = base.read.image;
  if (said.as_received) {
    CALSEAL_ASSIGN(const Plan plan, make_plan(base.map, expected));
    CALSEAL_CHECK(correct(plan, expected, CorrectionScope::kFloating));
  }
  CALSEAL_CHECK(
      check_as_customer(sealed, base.map, expected,
                        {signing.trust_file, base.files, salt, said.vehicle_reference, signing.now}));
  return sealed;
}

Result<FollowedRules> followed_rules(const Job& job, const RegionMap& next, const Signing& signing) {
  const JobRevision* newest = job.newest();
  if (newest == nullptr) return FollowedRules{};
  FollowedRules rules{std::nullopt, newest->manifest.approvals};
  if (newest->manifest.controller().map_digest == next.digest) return rules;
  const std::string path = job.folder + "/" + newest->file;
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
  std::vector<Step> steps = all_steps();
  OpenContext context;
  context.trust = signing.trust;
  context.now = signing.now;
  context.roles = RolesRule::kMayBeMissing;
  CALSEAL_ASSIGN(OpenedBundle opened, open_sealed(std::move(bytes), printable(path), context, steps));
  rules.map = std::move(opened.map);
  return rules;
}

std::vector<NewFile> base_files(const BaseParts& base, const std::vector<OptionFile>& options,
                                const std::string& prefix) {
  std::vector<NewFile> files{{prefix + std::string(kRegionsFile), base.map.text}};
  for (const ReadFile& file : base.files)
    files.push_back({prefix + "read/" + read_file_name(file), file.bytes});
  for (const OptionFile& option : options)
    files.push_back({prefix + "options/" + option.option.name + ".json", option.text});
  return files;
}

Result<OpenedBase> open_job(const NewJob& request, const std::optional<Signing>& signing) {
  CALSEAL_ASSIGN(const BaseParts base,
                 load_base(request.region_map, request.region_map_name, request.read, request.as_received));
  if (!is_name(request.job)) {
    return fail({Reason::kUsage, "", "--job", "\"" + printable(request.job, 80) + "\"",
                 "a name: a-z, 0-9, - and _, at most 64 characters", "name the job so, or the folder"});
  }
  const UtcTime now = signing ? signing->now : current_time();
  const BaseStatement said{
      request.job, "first read", request.title, request.vehicle_reference, 1, 1, {}, request.as_received, {}};
  std::vector<Event> events{opened_event(time_text(now), 1, said.reason)};
  OpenedBase opened;
  std::vector<NewFile> files = base_files(base, request.options, base_folder(1) + "/");
  if (signing) {
    CALSEAL_ASSIGN(opened.sealed, seal_base(base, said, request.salt, *signing));
    opened.bundle = bundle_file(1, 0);
    files.push_back({opened.bundle, opened.sealed->file});
    events.push_back(sealed_event(EventKind::kSealed, *opened.sealed, opened.bundle));
  }
  const std::string facts =
      write_job_facts({request.job, base.map.controller, request.vehicle_reference, time_text(now)});
  files.push_back({std::string(kJobFile), Bytes(facts.begin(), facts.end())});
  std::string log;
  for (const Event& event : events) log += write_event(event);
  files.push_back({std::string(kEventsFile), Bytes(log.begin(), log.end())});
  if (request.salt) {
    const std::string salt = to_hex(*request.salt) + "\n";
    files.push_back({std::string(kSaltFile), Bytes(salt.begin(), salt.end()), FileMode::kPrivate});
  }
  std::vector<std::string> folders{std::string(kLogFolder), base_folder(1)};
  for (const std::string& name : base_subfolders()) folders.push_back(base_folder(1) + "/" + name);
  CALSEAL_CHECK(make_folder(request.folder, folders, files));
  return opened;
}

Result<OpenedBase> seal_way_back(const Job& job, const Signing& signing, bool as_received) {
  const JobBase& current = job.base();
  if (current.way_back() != nullptr) {
    return fail({Reason::kJobOrder, printable(job.folder), "",
                 "revision 0 is sealed already: " + current.way_back()->file, "an edited image",
                 "give the edited image to seal the next revision"});
  }
  const std::string map_file =
      job.folder + "/" + base_folder(current.number) + "/" + std::string(kRegionsFile);
  CALSEAL_ASSIGN(Bytes map, read_file(map_file, kRegionMapSizeLimit));
  CALSEAL_ASSIGN(std::vector<ReadFile> files, load_kept_read(job.folder, current.number));
  CALSEAL_ASSIGN(const BaseParts base,
                 load_base(std::move(map), printable(map_file), std::move(files), as_received));
  CALSEAL_ASSIGN(const std::optional<Bytes> salt, load_job_salt(job.folder));
  std::string reason = "first read";
  for (const Event& event : job.events) {
    if (event.kind == EventKind::kOpened && event.base == current.number && !event.detail.empty())
      reason = event.detail;
  }
  const BaseStatement said{
      job.facts.job, reason, "", job.facts.vehicle_reference, current.number, job.highest_sequence() + 1, {},
      as_received,   {}};
  OpenedBase opened;
  CALSEAL_ASSIGN(FollowedRules followed, followed_rules(job, base.map, signing));
  CALSEAL_ASSIGN(opened.sealed, seal_base(base, said, salt, signing, std::move(followed)));
  opened.bundle = bundle_file(current.number, 0);
  const Event event = sealed_event(EventKind::kSealed, *opened.sealed, opened.bundle);
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {event}));
  CALSEAL_CHECK(write_files(
      {{job.folder + "/" + opened.bundle, opened.sealed->file, FileMode::kPublic, Existing::kRefuse},
       {job.folder + "/" + std::string(kEventsFile), view_of(events)}}));
  return opened;
}

}  // namespace calseal
