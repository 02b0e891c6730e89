#include "calseal/job/note.h"

#include <algorithm>
#include <map>
#include <utility>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/confirm.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

tl::unexpected<Error> wrong(std::string place, std::string found, std::string expected, std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

tl::unexpected<Error> too_early(const Job& job, const JobRevision& revision, std::string found,
                                std::string next) {
  return fail({Reason::kJobOrder, printable(job.folder), revision.file, std::move(found),
               "facts in the order in which they happen", std::move(next)});
}

Status judge_detail(const Note& fact) {
  if (!is_line(fact.detail))
    return wrong("--detail", printable(fact.detail, 80), "one line of at most 200 bytes", "shorten it");
  if (fact.kind == EventKind::kConfirmed) {
    for (const ProofGrade grade :
         {ProofGrade::kBytes, ProofGrade::kVerificationNumber, ProofGrade::kIdentity}) {
      if (fact.detail == proof_grade_name(grade)) return {};
    }
    return wrong("--detail", fact.detail.empty() ? "no grade" : printable(fact.detail, 80),
                 "bytes, verification-number or identity", "take the grade that calseal confirm says");
  }
  const bool needs_words =
      fact.kind == EventKind::kRemark || fact.kind == EventKind::kWithdrawn || fact.kind == EventKind::kSent ||
      fact.kind == EventKind::kClosed;
  if (needs_words && fact.detail.empty()) {
    return wrong("--detail", "no words",
                 fact.kind == EventKind::kSent ? "the channel: mail, stick, counter ..." : "the words",
                 "state them");
  }
  return {};
}

Status judge_order(const Job& job, const JobBase& base, const JobRevision& revision, EventKind kind) {
  const bool outward = kind == EventKind::kSent || kind == EventKind::kWritten;
  if (outward && revision.withdrawn) {
    return fail({Reason::kWithdrawn, printable(job.folder), revision.file, "a revision that was withdrawn",
                 "a revision that may be written", "see calseal job next"});
  }
  if (kind == EventKind::kSent && revision.incomplete)
    return too_early(job, revision, "a bundle that lacks a required signature",
                     "calseal countersign first; nobody accepts it yet");
  if (kind == EventKind::kSent && revision.number() != 0) {
    const JobRevision* way_back = base.way_back();
    if (way_back == nullptr || !job.has(EventKind::kAcknowledged, *way_back))
      return too_early(job, revision, "the customer has not acknowledged the way back",
                       "hand over revision 0 first");
  }
  if (kind == EventKind::kAcknowledged && !job.has(EventKind::kSent, revision))
    return too_early(job, revision, "nothing says that it was sent", "note first: sent");
  if (kind == EventKind::kWritten && !job.has(EventKind::kSent, revision))
    return too_early(job, revision, "nothing says that it was sent", "note first: sent");
  if (kind == EventKind::kConfirmed && !job.has(EventKind::kWritten, revision))
    return too_early(job, revision, "nothing says that it was written", "note first: written");
  if (kind == EventKind::kWithdrawn && revision.number() == 0)
    return wrong("--revision", "revision 0, the way back", "a later revision",
                 "seal another revision 0 of the same base instead");
  return {};
}

bool about_controller(EventKind kind) {
  return kind == EventKind::kRemark || kind == EventKind::kClosed || kind == EventKind::kReopened;
}

// What must have happened before, as it was noted; a revision is not sent before it was sealed.
std::string time_before(const Job& job, const JobRevision& revision, EventKind kind) {
  std::string earliest = revision.manifest.claimed_time;
  const auto after = [&](EventKind before) {
    if (const Event* event = job.last(before, revision)) earliest = std::max(earliest, event->time);
  };
  if (kind == EventKind::kAcknowledged || kind == EventKind::kWritten) after(EventKind::kSent);
  if (kind == EventKind::kConfirmed) after(EventKind::kWritten);
  return earliest;
}

Status judge_time(const VehicleJob& job, const std::string& time, const std::string& earliest, UtcTime now) {
  constexpr std::int64_t kTolerance = 86'400;  // seconds
  const bool future = now.seconds > current_time().seconds + kTolerance;
  if (!future && time >= earliest) return {};
  return fail({Reason::kJobOrder, printable(job.folder), "time", time,
               future ? "a time that is not in the future" : "not before " + earliest,
               "state the right time with --time, or set this computer's clock"});
}

bool by_hand(EventKind kind) {
  switch (kind) {
    case EventKind::kSent:
    case EventKind::kAcknowledged:
    case EventKind::kWritten:
    case EventKind::kConfirmed:
    case EventKind::kWithdrawn:
    case EventKind::kRemark:
    case EventKind::kClosed:
    case EventKind::kReopened:
      return true;
    default:
      return false;
  }
}

// What one fact is about.
struct Subject {
  const Job* job = nullptr;
  std::optional<std::uint64_t> base, revision;
  friend bool operator==(const Subject&, const Subject&) = default;
};

void add_once(const Subject& subject, std::vector<Subject>& subjects) {
  if (std::ranges::find(subjects, subject) == subjects.end()) subjects.push_back(subject);
}

Status add_revision(const VehicleJob& job, const Job& owner, const Note& fact, std::uint64_t revision,
                    std::vector<Subject>& subjects) {
  const std::uint64_t number = fact.base.value_or(owner.base().number);
  if (number == 0 || number > owner.bases.size())
    return wrong("--base", std::to_string(number), "a base of this job", "see calseal job status");
  const JobBase& base = owner.bases[number - 1];
  const JobRevision* found = base.find(revision);
  if (found == nullptr)
    return wrong("--revision", std::to_string(revision), "a revision of " + base_folder(base.number),
                 "see calseal job status");
  add_once({&owner, number, revision}, subjects);
  const bool whole_set = fact.kind == EventKind::kSent || fact.kind == EventKind::kAcknowledged ||
                         fact.kind == EventKind::kWithdrawn;
  if (!whole_set) return {};
  for (const SetPlace& member : set_members(job, *found))
    add_once({member.owner, member.base->number, member.revision->number()}, subjects);
  return {};
}

Result<std::vector<Subject>> subjects_of(const VehicleJob& job, const Note& fact) {
  std::vector<Subject> subjects;
  if (fact.revision) {
    CALSEAL_ASSIGN(const Job* const owner, one_controller(job, fact.controller));
    CALSEAL_CHECK(add_revision(job, *owner, fact, *fact.revision, subjects));
    return subjects;
  }
  if (about_controller(fact.kind)) {
    for (const Job& one : job.controllers) {
      if (fact.controller.empty() || fact.controller == one.facts.controller) subjects.push_back({&one, fact.base, {}});
    }
    if (subjects.empty()) CALSEAL_CHECK(one_controller(job, fact.controller));
    return subjects;
  }
  if (fact.kind == EventKind::kWithdrawn)
    return wrong("--revision", "no number", "the revision that is withdrawn", "state it");
  for (const HandedBundle& handed : job.handed) {
    const Job* owner = job.find(handed.controller);
    if (owner == nullptr || (!fact.controller.empty() && fact.controller != handed.controller)) continue;
    Note about = fact;
    about.base = handed.sealed.base;
    CALSEAL_CHECK(add_revision(job, *owner, about, *handed.sealed.revision, subjects));
  }
  if (!subjects.empty()) return subjects;
  return wrong("--revision", "no number, and nothing of it in the newest hand-over",
               "the revision that it is about", "state it");
}

Result<Event> event_of(const VehicleJob& job, const Subject& subject, const Note& fact, UtcTime now) {
  const Job& one = *subject.job;
  Event event;
  event.time = time_text(now);
  event.kind = fact.kind;
  event.base = subject.base.value_or(one.base().number);
  event.detail = fact.detail;
  if (!subject.revision) {
    CALSEAL_CHECK(judge_time(job, event.time, job.facts.opened, now));
    return event;
  }
  const JobBase& base = one.bases[event.base - 1];
  const JobRevision& revision = *base.find(*subject.revision);
  CALSEAL_CHECK(judge_order(one, base, revision, fact.kind));
  CALSEAL_CHECK(judge_time(job, event.time, time_before(one, revision, fact.kind), now));
  event.revision = revision.number();
  event.identity = revision.digest;
  event.file = revision.file;
  event.digest = revision.file_digest;
  return event;
}

}  // namespace

Result<std::vector<Noted>> note(const VehicleJob& job, const Note& fact, UtcTime now) {
  if (!by_hand(fact.kind))
    return wrong("FACT", std::string(event_name(fact.kind)),
                 "sent, acknowledged, written, confirmed, withdrawn, remark, closed or reopened", "see --help");
  CALSEAL_CHECK(judge_detail(fact));
  CALSEAL_ASSIGN(const std::vector<Subject> subjects, subjects_of(job, fact));
  std::vector<Noted> noted;
  std::map<std::string, std::vector<Event>> by_folder;  // two revisions of one controller go into one file
  for (const Subject& subject : subjects) {
    CALSEAL_ASSIGN(Event event, event_of(job, subject, fact, now));
    by_folder[subject.job->folder].push_back(event);
    noted.push_back({subject.job->facts.controller, std::move(event)});
  }
  std::vector<std::pair<std::string, std::string>> files;  // path, text
  for (const auto& [folder, events] : by_folder) {
    CALSEAL_ASSIGN(std::string text, with_events(folder, events));
    files.emplace_back(folder + "/" + std::string(kEventsFile), std::move(text));
  }
  std::vector<PendingFile> pending;
  for (const auto& [path, text] : files) pending.push_back({path, view_of(text)});
  CALSEAL_CHECK(write_files(pending));
  return noted;
}

}  // namespace calseal
