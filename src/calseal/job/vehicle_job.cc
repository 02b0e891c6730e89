#include "calseal/job/vehicle_job.h"

#include <algorithm>

#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/controller_names.h"
#include "calseal/job/layout.h"
#include "calseal/sign/shop_file.h"

namespace calseal {
namespace {

class VehicleReading {
 public:
  VehicleReading(std::string folder, const JobContext& context) : context_(context) {
    job_.folder = std::move(folder);
  }

  Result<VehicleJob> run() {
    CALSEAL_CHECK(read_facts());
    CALSEAL_ASSIGN(job_.newest_handover, newest_handover(job_.folder));
    if (job_.newest_handover != 0) {
      CALSEAL_ASSIGN(job_.handed, read_handover(job_.folder, job_.newest_handover));
    }
    context_.handed = &job_.handed;
    CALSEAL_ASSIGN(const std::vector<std::string> names, names_in(job_.folder));
    for (const std::string& name : names) {
      if (name.starts_with('.'))
        finding("left-over", name, "left by a run that was cut off; nothing needs it, it may be deleted");
    }
    CALSEAL_ASSIGN(const std::vector<std::string> controllers, controller_names(job_.folder));
    for (const std::string& name : controllers) CALSEAL_CHECK(read_controller(name));
    if (job_.controllers.empty()) {
      return fail({Reason::kJobDamaged, printable(job_.folder), "", "no folder of a controller",
                   "one with a job.json in it", "put the folder back from a copy"});
    }
    find_unplaced();
    judge_salts();
    judge_sets();
    return std::move(job_);
  }

 private:
  void finding(std::string code, const std::string& file, std::string text) {
    job_.findings.push_back({std::move(code), printable(file), std::move(text)});
  }

  Status read_facts() {
    CALSEAL_ASSIGN(job_.facts, read_vehicle_facts(job_.folder));
    return {};
  }

  Status read_controller(const std::string& name) {
    CALSEAL_ASSIGN(Job one, read_job(job_.folder + "/" + name, context_));
    if (one.facts.job != job_.facts.job || one.facts.controller != name) {
      finding("controller-of-another-job", name,
              "of job " + one.facts.job + ", " + one.facts.controller + "; it does not count");
    } else if (job_.controllers.size() < kControllerLimit) {
      job_.controllers.push_back(std::move(one));
    }
    return {};
  }

  void find_unplaced() {
    for (HandedBundle& bundle : job_.handed) {
      const Job* owner = job_.find(bundle.controller);
      const JobRevision* found = owner == nullptr ? nullptr : owner->find(*bundle.sealed.identity);
      if (found != nullptr && !found->placed) {
        finding(
            "sealed-not-placed", bundle.folder + "/" + bundle.name,
            "sealed and whole, but the run was cut off before it came into its controller's folder; the next "
            "command that changes the job puts it there");
        job_.unplaced.push_back(bundle);
      }
      bundle.bytes = {};
    }
  }

  // One vehicle, one salt: members of a set name the same one.
  void judge_salts() {
    std::optional<Sha256> first;
    for (const Job& one : job_.controllers) {
      const JobRevision* way_back = one.bases.back().way_back();
      if (way_back == nullptr) continue;
      const Sha256 salt = way_back->manifest.salt_digest.value_or(Sha256{});
      if (first && *first != salt)
        finding("salt-differs", one.facts.controller + "/" + std::string(kSaltFile),
                "sealed with another salt than the controllers before it: no set can be made of them");
      first = first.value_or(salt);
    }
  }

  void judge_sets() {
    for (const Job& one : job_.controllers) {
      const JobRevision* newest = one.base().newest();
      if (newest == nullptr || !newest->set) continue;
      for (const SetMember& member : newest->set->members) {
        if (holds(member, *newest)) continue;
        finding("set-incomplete", one.facts.controller + "/" + newest->file,
                "its set needs " + member.controller + " with sequence " + std::to_string(member.sequence) +
                    ", which is not here: nobody will accept it alone");
      }
    }
  }

  bool holds(const SetMember& member, const JobRevision& of) const {
    const Job* partner = job_.find(member.controller);
    if (partner == nullptr) return false;
    return std::ranges::any_of(partner->bases, [&](const JobBase& base) {
      return std::ranges::any_of(base.revisions, [&](const JobRevision& one) {
        return one.manifest.sequence == member.sequence && one.manifest.set == of.manifest.set;
      });
    });
  }

  JobContext context_;
  VehicleJob job_;
};

// What the system can open from anywhere.
struct AbsolutePath : Text {
  AbsolutePath() : Text{kShopPathLimit} {}
  void read(const JsonNode& node, std::string& value) const {
    Text::read(node, value);
    if (!node.document().ok() || is_shop_path(value)) return;
    node.refuse(Reason::kJsonValue, "\"" + printable(value, 60) + "\"",
                "an absolute path without control characters");
  }
};

}  // namespace

bool is_shop_path(const std::string& path) {
  return path.starts_with('/') && path.size() <= kShopPathLimit && is_utf8(path) &&
         printable(path, path.size()) == path;
}

void vehicle_fields(Fields& field, VehicleFacts& facts) {
  field.kind_of_file("job-vehicle/1");
  field("job", facts.job, kName);
  field("vehicle_reference", facts.vehicle_reference, kLine);
  field("opened", facts.opened, kTime);
  field.unless("", "shop", facts.shop, AbsolutePath());
}

Result<VehicleFacts> read_vehicle_facts(const std::string& folder) {
  const std::string path = folder + "/" + std::string(kVehicleFile);
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, kJobFileSizeLimit));
  auto facts = parse_fields(text_of(bytes), vehicle_fields, printable(path));
  if (facts) return facts;
  Error error = std::move(facts).error();
  error.reason = Reason::kJobDamaged;
  return fail(std::move(error));
}

std::string write_vehicle_facts(const VehicleFacts& facts) {
  return canonical_text(facts, vehicle_fields) + "\n";
}

const Job* VehicleJob::find(std::string_view controller) const {
  const auto at =
      std::ranges::find(controllers, controller, [](const Job& one) { return one.facts.controller; });
  return at == controllers.end() ? nullptr : &*at;
}

bool VehicleJob::nothing_sent() const {
  return std::ranges::none_of(controllers, [](const Job& one) {
    return std::ranges::any_of(one.events, [](const Event& event) { return event.kind == EventKind::kSent; });
  });
}

bool VehicleJob::is_sound() const {
  return findings.empty() &&
         std::ranges::all_of(controllers, [](const Job& one) { return one.findings.empty(); });
}

Result<JobPlace> find_job(const std::string& folder) {
  std::string path = folder;
  while (path.size() > 1 && path.ends_with('/')) path.pop_back();
  if (exists(path + "/" + std::string(kVehicleFile))) return JobPlace{path, ""};
  if (exists(path + "/" + std::string(kJobFile))) {
    const std::size_t slash = path.rfind('/');
    const std::string above = slash == std::string::npos ? "." : slash == 0 ? "/" : path.substr(0, slash);
    const std::string name = slash == std::string::npos ? path : path.substr(slash + 1);
    if (exists(above + "/" + std::string(kVehicleFile))) return JobPlace{above, name};
  }
  return fail({Reason::kFileMissing, printable(folder), "", "no job folder of that name",
               "a folder with a " + std::string(kVehicleFile) + " in it, or a controller's folder in one",
               "calseal job new makes one"});
}

Result<VehicleJob> read_vehicle_job(const std::string& folder, const JobContext& context) {
  // Looking takes no lock. If another command has handed over meanwhile, a set may have been seen in part.
  for (int again = 0; again < 3; ++again) {
    CALSEAL_ASSIGN(VehicleJob job, VehicleReading(folder, context).run());
    CALSEAL_ASSIGN(const std::uint64_t newest, newest_handover(folder));
    if (newest == job.newest_handover) return job;
  }
  return VehicleReading(folder, context).run();
}

Result<JobLock> JobLock::take(const std::string& folder) {
  JobLock lock;
  CALSEAL_ASSIGN(FolderLock whole, FolderLock::take(folder, kJobFolder));
  lock.locks_.push_back(std::move(whole));
  CALSEAL_ASSIGN(const std::vector<std::string> controllers, controller_names(folder));
  for (const std::string& name : controllers) {
    CALSEAL_ASSIGN(FolderLock one, FolderLock::take(folder + "/" + name, kJobFolder));
    lock.locks_.push_back(std::move(one));
  }
  return lock;
}

Result<VehicleJob> take_up(const std::string& folder, const JobContext& context) {
  CALSEAL_ASSIGN(VehicleJob job, read_vehicle_job(folder, context));
  if (job.unplaced.empty()) return job;
  CALSEAL_CHECK(place_bundles(folder, job.unplaced));
  return read_vehicle_job(folder, context);
}

Result<const Job*> one_controller(const VehicleJob& job, const std::string& controller) {
  std::string names;
  for (const Job& one : job.controllers) names += (names.empty() ? "" : ", ") + one.facts.controller;
  if (!controller.empty()) {
    if (const Job* found = job.find(controller)) return found;
    return fail({Reason::kUsage, printable(job.folder), "--controller", printable(controller, 80), names,
                 "name one of them"});
  }
  if (job.controllers.size() == 1) return &job.controllers.front();
  return fail({Reason::kUsage, printable(job.folder), "--controller",
               "no controller, and the job has several: " + names, "one of them",
               "give --controller NAME, or the controller's own folder"});
}

std::vector<SetPlace> set_members(const VehicleJob& job, const JobRevision& of) {
  std::vector<SetPlace> members;
  if (!of.set) return members;
  for (const Job& owner : job.controllers) {
    for (const JobBase& base : owner.bases) {
      for (const JobRevision& one : base.revisions) {
        if (one.manifest.set == of.manifest.set) members.push_back({&owner, &base, &one});
      }
    }
  }
  return members;
}

namespace {

struct Kept {
  const Job* owner;
  const JobRevision* revision;
};

void add_once(const Kept& one, std::vector<Kept>& all) {
  if (std::ranges::find(all, one.revision, &Kept::revision) == all.end()) all.push_back(one);
}

// A member of a set brings the others along.
Status add_whole(const VehicleJob& job, const Kept& wanted, std::vector<Kept>& all) {
  add_once(wanted, all);
  for (const SetPlace& member : set_members(job, *wanted.revision)) {
    if (member.outdated()) {
      return fail(
          {Reason::kJobOrder, printable(wanted.owner->folder), wanted.revision->file,
           "a set with a revision of " + member.owner->facts.controller + " that is of an earlier base",
           "a set that fits every controller",
           "calseal job send --set renew, or hand over others: --controller"});
    }
    add_once({member.owner, member.revision}, all);
  }
  return {};
}

Result<Kept> find_kept(const VehicleJob& job, const WantedRevision& wanted) {
  CALSEAL_ASSIGN(const Job* const owner, one_controller(job, wanted.controller));
  const JobRevision* revision = owner->base().find(wanted.revision);
  if (revision == nullptr) {
    return fail({Reason::kUsage, printable(owner->folder), "--revision", std::to_string(wanted.revision),
                 "a revision of " + base_folder(owner->base().number), "see calseal job status"});
  }
  if (!revision->withdrawn) return Kept{owner, revision};
  return fail({Reason::kWithdrawn, printable(owner->folder), revision->file, "a revision that was withdrawn",
               "one that may be written", "see calseal job next"});
}

}  // namespace

Result<std::string> hand_over_kept(const VehicleJob& job, const std::vector<WantedRevision>& revisions,
                                   const KeptMessage& message) {
  std::vector<Kept> all;
  for (const WantedRevision& wanted : revisions) {
    CALSEAL_ASSIGN(const Kept kept, find_kept(job, wanted));
    CALSEAL_CHECK(add_whole(job, kept, all));
  }
  if (all.empty()) {
    return fail({Reason::kJobOrder, printable(job.folder), "", "nothing that could be handed over",
                 "a sealed revision", "see calseal job next"});
  }
  std::vector<HandedBundle> bundles;
  for (const auto& [owner, revision] : all) {
    HandedBundle bundle;
    bundle.controller = owner->facts.controller;
    bundle.name = handed_name(bundle.controller, revision->file);
    bundle.kept_as = revision->file;
    CALSEAL_ASSIGN(bundle.bytes, read_file(owner->folder + "/" + revision->file, kBundleSizeLimit));
    bundles.push_back(std::move(bundle));
  }
  return make_handover(job.folder, bundles, message(job, bundles));
}

}  // namespace calseal
