#include "calseal/job/job.h"

#include <sys/stat.h>

#include <algorithm>
#include <map>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/check.h"
#include "calseal/check/read_bundle.h"
#include "calseal/job/layout.h"
#include "calseal/job/open_base.h"
#include "calseal/job/reissue.h"

namespace calseal {
namespace {

// Bytes of changes.json that are not derived, and of these the ones without an option.
void count_changes(const OpenedBundle& opened, JobRevision& revision) {
  const std::vector<ManifestSpan>& spans = opened.manifest.controller().spans;
  for (const Change& change : opened.changes) {
    const auto span = std::ranges::find_if(spans, [&](const ManifestSpan& s) {
      return s.place.memory == change.place.memory && s.place.range.contains(change.place.range.begin);
    });
    if (span == spans.end() || (span->kind != SpanKind::kEditable && span->kind != SpanKind::kLocked))
      continue;
    revision.changed += change.place.range.size();
    if (change.option.empty()) revision.unaccounted += change.place.range.size();
  }
}

// The last note about each later version of a base's region map.
std::map<std::uint64_t, const Event*> noted_maps(const std::vector<Event>& events, std::uint64_t base) {
  std::map<std::uint64_t, const Event*> noted;
  for (const Event& event : events) {
    const auto version = version_of_mended_map(base, event.file);
    if (event.base == base && event.digest && version) noted[*version] = &event;
  }
  return noted;
}

// Why a file is not the one that was noted; empty where it is.
std::string fault_of(const std::string& path, const Event& noted) {
  const auto bytes = read_file(path, kRegionMapSizeLimit);
  if (!bytes) return "noted on " + noted.time + " and not here: " + bytes.error().found;
  return compute_sha256(*bytes) == *noted.digest ? "" : "not the file that was noted on " + noted.time;
}

// What its bundle says of it.
JobRevision revision_of(const std::string& file, const OpenedBundle& opened) {
  JobRevision revision;
  revision.file = file;
  revision.manifest = opened.manifest;
  revision.digest = opened.digest;
  revision.file_digest = compute_sha256(opened.file);
  revision.incomplete = opened.incomplete;
  revision.set = opened.set;
  for (const IdentityField& field : opened.map.identity) {
    if (!field.binds) revision.identity_kinds.emplace_back(identity_kind_name(field.kind));
  }
  for (const auto& [name, text] : opened.manifest.annotations) {
    if (name == kReissueAnnotation) revision.reissue_of = parse_digest(text);
  }
  count_changes(opened, revision);
  return revision;
}

class JobReading {
 public:
  JobReading(std::string folder, const JobContext& context) : context_(context) {
    job_.folder = std::move(folder);
  }

  Result<Job> run() {
    CALSEAL_ASSIGN(const Bytes facts, read_file(at(std::string(kJobFile)), kJobFileSizeLimit));
    CALSEAL_ASSIGN(job_.facts, parse_job_facts(facts, printable(at(std::string(kJobFile)))));
    read_events();
    CALSEAL_ASSIGN(const std::vector<std::string> names, names_in(job_.folder));
    for (const std::string& name : names) {
      if (const auto number = base_of_folder(name)) CALSEAL_CHECK(read_base(*number));
      if (name.starts_with('.')) left_over(name);
    }
    std::ranges::sort(job_.bases, {}, &JobBase::number);
    if (job_.bases.empty()) {
      return fail({Reason::kJobDamaged, printable(job_.folder), "", "no folder of a base",
                   "base-1 with a read in it", "put the folder back from a copy"});
    }
    for (const JobBase& base : job_.bases) {
      if (base.number != static_cast<std::uint64_t>(&base - job_.bases.data()) + 1)
        finding("base-missing", base_folder(base.number), "a base before this one is missing");
    }
    judge_salt();
    compare_with_events();
    return std::move(job_);
  }

 private:
  std::string at(const std::string& file) const { return job_.folder + "/" + file; }

  void finding(std::string code, std::string file, std::string text) {
    job_.findings.push_back({std::move(code), printable(file), std::move(text)});
  }

  void left_over(const std::string& name) {
    finding("left-over", name, "left by a run that was cut off; nothing needs it, it may be deleted");
  }

  void read_events() {
    const auto bytes = read_file(at(std::string(kEventsFile)), kEventsSizeLimit);
    if (!bytes) {
      finding("events-unreadable", std::string(kEventsFile),
              bytes.error().found + "; only the bundles tell what was done");
      return;
    }
    EventList list = parse_events(text_of(*bytes), std::string(kEventsFile));
    job_.events = std::move(list.events);
    for (const BrokenEvent& broken : list.broken) {
      finding("event-unreadable", std::string(kEventsFile),
              "line " + std::to_string(broken.line) + ": " + broken.error.found + "; it is left out");
    }
  }

  Status read_base(std::uint64_t number) {
    JobBase base;
    base.number = number;
    const std::string folder = base_folder(number);
    CALSEAL_CHECK(read_files(folder, base));
    CALSEAL_ASSIGN(const std::vector<std::string> names, names_in(at(folder)));
    const std::optional<Sha256> sealed_with = read_maps(folder, names, base);
    for (const std::string& name : names) {
      if (name.starts_with('.')) left_over(folder + "/" + name);
      if (!name.starts_with('.') && name.ends_with(".calseal") && base.revisions.size() < kJobBundleLimit)
        read_revision(folder + "/" + name, base);
    }
    read_unplaced(base);
    std::ranges::stable_sort(base.revisions, {}, [](const JobRevision& r) { return r.manifest.sequence; });
    judge_base(base, sealed_with);
    job_.bases.push_back(std::move(base));
    return {};
  }

  // Names of the read, of edits, and of options.
  Status read_files(const std::string& folder, JobBase& base) {
    for (const std::string& sub : base_subfolders()) {
      CALSEAL_ASSIGN(const std::vector<std::string> names, names_in(at(folder + "/" + sub)));
      for (const std::string& name : names) {
        const std::string file = folder + "/" + sub + "/" + name;
        if (name.starts_with('.'))
          left_over(file);
        else if (sub == "read")
          base.read.push_back(file);
        else if (sub == "options")
          base.options.push_back(file);
        else if (name.ends_with(kSentOptionEnd))
          base.sent_options.push_back(file);
      }
    }
    return {};
  }

  // The map that the base was sealed with, whose digest comes back, and its later versions; the highest is in
  // force.
  std::optional<Sha256> read_maps(const std::string& folder, const std::vector<std::string>& names,
                                  JobBase& base) {
    read_map(folder + "/" + std::string(kRegionsFile), base);
    const std::optional<Sha256> sealed_with = base.map_digest;
    std::uint64_t highest = 0;
    for (const std::string& name : names) {
      if (!name.starts_with("regions-v") || !name.ends_with(".json")) continue;
      const std::string file = folder + "/" + name;
      JobBase mended;
      const std::uint64_t version = read_map(file, mended);
      if (version <= highest || file != mended_map_file(base.number, version)) continue;
      highest = version;
      base.map_name = mended.map_name;
      base.map_version = mended.map_version;
      base.map_grade = mended.map_grade;
      base.map_digest = mended.map_digest;
      base.mended_map = file;
    }
    judge_mended(highest, base);
    return sealed_with;
  }

  // Every version that was noted must be here as it was noted. One that nobody noted counts too: a run that
  // was cut off has left it. `highest` is in force.
  void judge_mended(std::uint64_t highest, JobBase& base) {
    for (const auto& [version, noted] : noted_maps(job_.events, base.number)) {
      const std::string fault = fault_of(at(noted->file), *noted);
      if (version >= highest) base.mended_fault = fault.empty() ? "" : noted->file + ": " + fault;
      if (!fault.empty()) finding("regions-differ", noted->file, fault + "; nothing is sealed by it");
    }
  }

  // Its version; 0 when it cannot be read.
  std::uint64_t read_map(const std::string& file, JobBase& base) {
    auto bytes = read_file(at(file), kRegionMapSizeLimit);
    auto map = bytes ? parse_region_map(*std::move(bytes), file) : Result<RegionMap>(fail(bytes.error()));
    if (!map) {
      finding("regions-unreadable", file, map.error().found);
      return 0;
    }
    base.map_name = map->name;
    base.map_version = map->version;
    base.map_grade = map->grade();
    base.map_digest = map->digest;
    return map->version;
  }

  Result<OpenedBundle> open(const std::string& file) const {
    if (context_.trust == nullptr) {
      CALSEAL_ASSIGN(Bytes whole, read_file(at(file), kBundleSizeLimit));
      return open_unverified(std::move(whole), printable(file));
    }
    CALSEAL_ASSIGN(Bytes bytes, read_bundle(at(file), context_.trust));
    std::vector<Step> steps = all_steps();
    OpenContext context;
    context.trust = context_.trust;
    context.roles = RolesRule::kMayBeMissing;
    return open_sealed(std::move(bytes), printable(file), context, steps);
  }

  void read_revision(const std::string& file, JobBase& base) {
    const Result<OpenedBundle> opened = open(file);
    if (!opened) {
      return finding("bundle-refused", file,
                     std::string(code(opened.error().reason)) + ": " + opened.error().found +
                         "; it does not count as a revision");
    }
    const Manifest& manifest = opened->manifest;
    if (manifest.job != job_.facts.job || manifest.controller().name != job_.facts.controller) {
      return finding("bundle-of-another-job", file,
                     "of job " + manifest.job + ", " + manifest.controller().name);
    }
    if (manifest.base_number != base.number) {
      return finding("bundle-of-another-base", file, "of base " + std::to_string(manifest.base_number));
    }
    JobRevision revision = revision_of(file, *opened);
    revision.verified = context_.trust != nullptr;
    // Two files of one revision, before and after counter-signing: the more complete one counts.
    for (JobRevision& other : base.revisions) {
      if (other.digest != revision.digest) continue;
      if (other.incomplete) other = std::move(revision);
      return;
    }
    base.revisions.push_back(std::move(revision));
  }

  // What a run that was cut off has handed over and not put here. What was noted and is gone is missing.
  void read_unplaced(JobBase& base) {
    if (context_.handed == nullptr) return;
    for (const HandedBundle& bundle : *context_.handed) {
      const auto known = [&](const auto& one) { return one.digest == bundle.sealed.identity; };
      if (bundle.controller != job_.facts.controller || bundle.sealed.base != base.number) continue;
      if (is_noted(*bundle.sealed.identity) || std::ranges::any_of(base.revisions, known)) continue;
      const std::size_t before = base.revisions.size();
      read_revision("../" + bundle.folder + "/" + bundle.name, base);
      if (base.revisions.size() > before) base.revisions.back().placed = false;
    }
  }

  bool is_noted(const Sha256& identity) const {
    return std::ranges::any_of(job_.events, [&](const Event& event) {
      return event.identity == identity &&
             (event.kind == EventKind::kSealed || event.kind == EventKind::kReissued);
    });
  }

  void judge_base(JobBase& base, const std::optional<Sha256>& sealed_with) {
    const JobRevision* way_back = base.way_back();
    if (way_back == nullptr) {
      if (!base.revisions.empty())
        finding("way-back-missing", base_folder(base.number),
                "revisions stand here without a revision 0 to go back to");
      return;
    }
    base.reason = way_back->manifest.base_reason;
    if (sealed_with && *sealed_with != way_back->manifest.controller().map_digest) {
      finding("regions-differ", base_folder(base.number) + "/" + std::string(kRegionsFile),
              "not the region map that revision 0 was sealed with; the one in the bundle counts");
    }
    std::vector<Sha256> sealed;
    for (const ManifestFile& file : way_back->manifest.controller().files) sealed.push_back(file.digest);
    for (const std::string& file : base.read) {
      const auto bytes = read_file(at(file), kReadFileLimit);
      if (!bytes || std::ranges::find(sealed, compute_sha256(*bytes)) == sealed.end())
        finding("read-differs", file, "not the file that revision 0 was sealed from; the bundle counts");
    }
    if (base.read.size() < sealed.size())
      finding("read-differs", base_folder(base.number) + "/read",
              "fewer files than revision 0 was sealed from; the bundle counts");
    for (std::size_t i = 1; i < base.revisions.size(); ++i) {
      const JobRevision& one = base.revisions[i];
      if (one.manifest.sequence == base.revisions[i - 1].manifest.sequence)
        finding("sequence-conflict", one.file,
                "the same sequence number as " + base.revisions[i - 1].file +
                    "; a customer's checker takes only one of them");
    }
  }

  void judge_salt() {
    struct stat status {};
    const std::string file(kSaltFile);
    job_.salt_present = ::stat(at(file).c_str(), &status) == 0;
    std::optional<Sha256> sealed;
    for (const JobBase& base : job_.bases) {
      if (const JobRevision* way_back = base.way_back()) sealed = way_back->manifest.salt_digest;
    }
    if (!job_.salt_present) {
      if (sealed) finding("salt-missing", file, "the job was sealed with a salt; the customer has a copy");
      return;
    }
    if ((status.st_mode & 0077) != 0)
      finding("salt-open", file, "other users of this machine can read it: chmod 600");
    const auto bytes = read_file(at(file), 4096);
    const auto salt = bytes ? parse_salt(*bytes, file) : Result<Bytes>(fail(bytes.error()));
    if (!salt || (sealed && compute_sha256(*salt) != *sealed))
      finding("salt-differs", file, "not the salt that the job was sealed with");
  }

  void compare_with_events() {
    for (JobBase& base : job_.bases) {
      for (JobRevision& revision : base.revisions) {
        if (revision.placed && !is_noted(revision.digest)) {
          finding("sealed-not-noted", revision.file,
                  "revision " + std::to_string(revision.number()) +
                      " is sealed and whole, but nothing was noted: the run was cut off, or the "
                      "bundle was brought here; it counts");
        }
        const bool listed = context_.withdrawals != nullptr &&
                            context_.withdrawals->find(revision.digest) != nullptr && revision.number() != 0;
        revision.withdrawn = listed || (revision.number() != 0 && job_.has(EventKind::kWithdrawn, revision));
        if (context_.withdrawals != nullptr && revision.withdrawn && !listed)
          finding("withdrawal-not-listed", revision.file,
                  "noted as withdrawn, but the list of withdrawals does not name it: customers are not told");
      }
    }
    for (const Event& event : job_.events) {
      if (!event.identity) continue;
      const JobRevision* revision = job_.find(*event.identity);
      if (revision == nullptr) {
        if (event.kind == EventKind::kSealed || event.kind == EventKind::kReissued)
          finding("bundle-missing", event.file, "noted as sealed on " + event.time + ", and not here");
        continue;
      }
      if (event.revision && *event.revision != revision->number()) {
        finding("event-contradicts", std::string(kEventsFile),
                std::string(event_name(event.kind)) + " of " + event.time + " calls it revision " +
                    std::to_string(*event.revision) + "; the bundle says " +
                    std::to_string(revision->number()));
      }
    }
  }

  const JobContext& context_;
  Job job_;
};

void job_facts_fields(Fields& field, JobFacts& facts) {
  std::size_t kind = 0;
  field("calseal", kind, Choice{"job/1"});
  field("job", facts.job, kName);
  field("controller", facts.controller, kName);
  field("vehicle_reference", facts.vehicle_reference, kLine);
  field("opened", facts.opened, kTime);
}

}  // namespace

std::string write_job_facts(const JobFacts& facts) { return canonical_text(facts, job_facts_fields) + "\n"; }

Result<JobFacts> parse_job_facts(ByteView bytes, const std::string& name) {
  Result<JobFacts> facts = parse_fields(text_of(bytes), job_facts_fields, name);
  if (facts) return facts;
  Error error = std::move(facts).error();
  error.reason = Reason::kJobDamaged;
  return fail(std::move(error));
}

std::string JobBase::map_words() const {
  return map_name + " version " + std::to_string(map_version) + " (" + map_grade + ")";
}

std::vector<std::string> JobBase::option_files() const {
  std::vector<std::string> files = options;
  files.insert(files.end(), sent_options.begin(), sent_options.end());
  return files;
}

const JobRevision* JobBase::way_back() const { return find(0); }

const JobRevision* Job::newest() const {
  const JobRevision* newest = nullptr;
  for (const JobBase& one : bases) {
    const JobRevision* last = one.newest();
    if (last == nullptr) continue;
    if (newest == nullptr || last->manifest.sequence > newest->manifest.sequence) newest = last;
  }
  return newest;
}

const JobRevision* JobBase::newest() const { return revisions.empty() ? nullptr : &revisions.back(); }

const JobRevision* JobBase::find(std::uint64_t revision) const {
  for (std::size_t i = revisions.size(); i-- > 0;) {
    if (revisions[i].number() == revision) return &revisions[i];
  }
  return nullptr;
}

const Event* Job::last(EventKind kind, const JobRevision& revision) const {
  for (std::size_t i = events.size(); i-- > 0;) {
    if (events[i].kind == kind && events[i].identity == revision.digest) return &events[i];
  }
  return nullptr;
}

std::uint64_t Job::highest_sequence() const {
  std::uint64_t highest = 0;
  for (const JobBase& one : bases) {
    if (!one.revisions.empty()) highest = std::max(highest, one.revisions.back().manifest.sequence);
  }
  for (const Event& event : events) highest = std::max(highest, event.sequence.value_or(0));
  return highest;
}

std::uint64_t Job::highest_revision() const {
  std::uint64_t highest = 0;
  for (const JobRevision& one : base().revisions) highest = std::max(highest, one.number());
  for (const Event& event : events) {
    if (event.sequence && event.base == base().number)
      highest = std::max(highest, event.revision.value_or(0));
  }
  return highest;
}

const JobRevision* Job::find(const Sha256& identity) const {
  for (const JobBase& one : bases) {
    for (const JobRevision& revision : one.revisions) {
      if (revision.digest == identity) return &revision;
    }
  }
  return nullptr;
}

bool Job::closed() const {
  for (std::size_t i = events.size(); i-- > 0;) {
    if (events[i].kind == EventKind::kClosed || events[i].kind == EventKind::kReopened)
      return events[i].kind == EventKind::kClosed;
  }
  return false;
}

Result<Job> read_job(const std::string& folder, const JobContext& context) {
  return JobReading(folder, context).run();
}

Result<std::string> with_events(const std::string& folder, const std::vector<Event>& more) {
  const std::string path = folder + "/" + std::string(kEventsFile);
  std::string text;
  if (exists(path)) {
    const auto bytes = read_file(path, kEventsSizeLimit);
    if (!bytes && bytes.error().reason != Reason::kFileEmpty) return fail(bytes.error());
    if (bytes) text = text_of(*bytes);
  }
  if (!text.empty() && text.back() != '\n') text += '\n';  // a line that was cut off keeps to itself
  for (const Event& event : more) text += write_event(event);
  if (text.size() > kEventsSizeLimit) {
    return fail({Reason::kFileTooLarge, printable(path), "", grouped(text.size()) + " bytes",
                 "at most " + grouped(kEventsSizeLimit) + " bytes", "move old remarks to another file"});
  }
  return text;
}

}  // namespace calseal
