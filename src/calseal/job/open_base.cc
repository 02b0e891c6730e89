#include "calseal/job/open_base.h"

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/check.h"
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
  name_memories(base.read, base.files);
  const std::string name = base.files.front().name;
  const auto plan = make_plan(base.map, base.read.image);
  if (!plan) return fail(in_file(plan.error(), name));
  Status status = as_received ? recognise_received(*plan, base.read.image)
                              : believe_base(*plan, base.read.image, verify_checks(*plan, base.read.image));
  if (!status) return fail(in_file(status.error(), name));
  return base;
}

Result<SealedBundle> seal_base(const BaseParts& base, const BaseStatement& said, RevisionPlace place,
                               const std::optional<Bytes>& salt, const Signing& signing) {
  SealRequest request = request_for_base(base.map, base.read, said, std::move(place), signing);
  request.salt = salt;
  CALSEAL_ASSIGN(SealedBundle sealed, seal(request, signing.keys, *signing.trust));
  // What floats is corrected for whatever read the customer has, this one included.
  Image expected = base.read.image;
  if (said.as_received) {
    CALSEAL_ASSIGN(const Plan plan, make_plan(base.map, expected));
    CALSEAL_CHECK(correct(plan, expected, CorrectionScope::kFloating));
  }
  CALSEAL_CHECK(
      check_as_customer(sealed, base.map, expected,
                        {signing.trust_file, base.files, salt, said.vehicle_reference, signing.now, {}}));
  return sealed;
}

Result<RevisionPlace> next_place(const Job& job, std::uint64_t revision, const std::optional<Sha256>& parent,
                                 const RegionMap& next, const Signing& signing) {
  RevisionPlace place{revision, job.highest_sequence() + 1, parent, {}};
  const JobRevision* newest = job.newest();
  if (newest == nullptr) return place;
  place.followed.approvals = newest->manifest.approvals;
  if (newest->manifest.controller().map_digest == next.digest) return place;
  CALSEAL_ASSIGN(OpenedBundle opened,
                 open_issued_file(job.folder + "/" + newest->file, signing, RolesRule::kMayBeMissing));
  place.followed.map = std::move(opened.map);
  return place;
}

std::vector<NewFile> base_files(const BaseParts& base, const std::vector<OptionFile>& options,
                                const std::string& prefix) {
  std::vector<NewFile> files{{prefix + std::string(kRegionsFile), base.map.text}};
  for (std::size_t i = 0; i < base.files.size(); ++i)
    files.push_back({prefix + "read/" + read_file_name(base.files, i), base.files[i].bytes});
  for (const OptionFile& option : options)
    files.push_back({prefix + "options/" + option.option.name + ".json", option.text});
  return files;
}

Result<ControllerFolder> plan_controller(const NewJob& job, const NewController& controller,
                                         const std::optional<Signing>& signing) {
  CALSEAL_ASSIGN(const BaseParts base, load_base(controller.region_map, controller.region_map_name,
                                                 controller.read, controller.as_received));
  const UtcTime now = signing ? signing->now : current_time();
  BaseStatement said;
  said.job = job.job;
  said.title = job.title;
  said.vehicle_reference = job.vehicle_reference;
  said.as_received = controller.as_received;
  std::vector<Event> events{opened_event(time_text(now), 1, said.reason)};
  ControllerFolder folder;
  OpenedBase& opened = folder.opened;
  opened.controller = base.map.controller;
  folder.files = base_files(base, controller.options, base_folder(1) + "/");
  if (signing) {
    CALSEAL_ASSIGN(opened.sealed, seal_base(base, said, RevisionPlace{}, job.salt, *signing));
    opened.bundle = bundle_file(1, 0);
    folder.files.push_back({opened.bundle, opened.sealed->file});
    events.push_back(sealed_event(EventKind::kSealed, *opened.sealed, opened.bundle));
  }
  const std::string facts =
      write_job_facts({job.job, base.map.controller, job.vehicle_reference, time_text(now)});
  folder.files.push_back({std::string(kJobFile), Bytes(facts.begin(), facts.end())});
  std::string log;
  for (const Event& event : events) log += write_event(event);
  folder.files.push_back({std::string(kEventsFile), Bytes(log.begin(), log.end())});
  if (job.salt) {
    const std::string salt = to_hex(*job.salt) + "\n";
    folder.files.push_back({std::string(kSaltFile), Bytes(salt.begin(), salt.end()), FileMode::kPrivate});
  }
  folder.subfolders = {std::string(kLogFolder), base_folder(1)};
  for (const std::string& name : base_subfolders()) folder.subfolders.push_back(base_folder(1) + "/" + name);
  return folder;
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
  BaseStatement said;
  said.job = job.facts.job;
  said.vehicle_reference = job.facts.vehicle_reference;
  said.number = current.number;
  said.as_received = as_received;
  for (const Event& event : job.events) {
    if (event.kind == EventKind::kOpened && event.base == current.number && !event.detail.empty())
      said.reason = event.detail;
  }
  OpenedBase opened;
  opened.controller = job.facts.controller;
  CALSEAL_ASSIGN(RevisionPlace place, next_place(job, 0, std::nullopt, base.map, signing));
  CALSEAL_ASSIGN(opened.sealed, seal_base(base, said, std::move(place), salt, signing));
  opened.bundle = bundle_file(current.number, 0);
  const Event event = sealed_event(EventKind::kSealed, *opened.sealed, opened.bundle);
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {event}));
  CALSEAL_CHECK(write_files(
      {{job.folder + "/" + opened.bundle, opened.sealed->file, FileMode::kPublic, Existing::kRefuse},
       {job.folder + "/" + std::string(kEventsFile), view_of(events)}}));
  return opened;
}

}  // namespace calseal
