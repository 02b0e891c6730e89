#include "calseal/job/note.h"

#include <algorithm>
#include <map>
#include <utility>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/confirm.h"
#include "calseal/job/customer_order.h"
#include "calseal/job/layout.h"
#include "calseal/job/possible_time.h"

namespace calseal {
namespace {

tl::unexpected<Error> note_usage(std::string place, std::string found, std::string expected,
                                 std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

tl::unexpected<Error> too_early(const Job& job, const JobRevision& revision, std::string found,
                                std::string next) {
  return fail({Reason::kJobOrder, printable(job.folder), revision.file, std::move(found),
               "facts in the order in which they happen", std::move(next)});
}

Status judge_detail(const Note& fact) {
  if (!is_line(fact.detail))
    return note_usage("--detail", printable(fact.detail, 80), "one line of at most 200 bytes", "shorten it");
  if (fact.kind == EventKind::kConfirmed) {
    for (const ProofGrade grade :
         {ProofGrade::kBytes, ProofGrade::kVerificationNumber, ProofGrade::kIdentity}) {
      if (fact.detail == proof_grade_name(grade)) return {};
    }
    return note_usage("--detail", fact.detail.empty() ? "no grade" : printable(fact.detail, 80),
                      "bytes, verification-number or identity", "take the grade that calseal confirm says");
  }
  const bool needs_words = fact.kind == EventKind::kRemark || fact.kind == EventKind::kWithdrawn ||
                           fact.kind == EventKind::kSent || fact.kind == EventKind::kClosed;
  if (needs_words && fact.detail.empty()) {
    return note_usage("--detail", "no words",
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
    return note_usage("--revision", "revision 0, the way back", "a later revision",
                      "seal another revision 0 of the same base instead");
  return {};
}

bool about_controller(EventKind kind) {
  return kind == EventKind::kRemark || kind == EventKind::kOrdered || kind == EventKind::kClosed ||
         kind == EventKind::kReopened;
}

// An order is the vehicle's.
Status judge_options(const Note& fact) {
  if (fact.kind != EventKind::kOrdered) return {};
  if (!fact.controller.empty() || fact.revision || fact.base) {
    return note_usage("ordered", "a controller, base or revision beside it", "an order of the whole vehicle",
                      "name the job's folder and nothing else");
  }
  for (const std::string& name : fact.options) {
    if (!is_name(name))
      return note_usage("--order", printable(name, 80), "the name of an option", "see calseal option show");
  }
  if (fact.options.size() <= kOptionTogetherLimit) return {};
  return note_usage("--order", grouped(fact.options.size()) + " options",
                    "at most " + grouped(kOptionTogetherLimit), "leave some out");
}

// Not before what must have happened before, as it was noted; a revision is not sent before it was sealed.
Status judge_time(const Job& job, const JobRevision& revision, EventKind kind, UtcTime now) {
  std::string earliest = revision.manifest.claimed_time, whose = "it claims";
  const auto after = [&](EventKind before) {
    const Event* event = job.last(before, revision);
    if (event == nullptr || event->time <= earliest) return;
    earliest = event->time;
    whose = "is noted as " + std::string(event_name(before));
  };
  if (kind == EventKind::kAcknowledged || kind == EventKind::kWritten) after(EventKind::kSent);
  if (kind == EventKind::kConfirmed) after(EventKind::kWritten);
  return require_possible_time(job.folder, now, earliest, whose);
}

bool by_hand(EventKind kind) {
  switch (kind) {
    case EventKind::kSent:
    case EventKind::kAcknowledged:
    case EventKind::kWritten:
    case EventKind::kConfirmed:
    case EventKind::kWithdrawn:
    case EventKind::kOrdered:
    case EventKind::kRemark:
    case EventKind::kClosed:
    case EventKind::kReopened:
      return true;
    default:
      return false;
  }
}

// What one fact is about: a revision, or a controller as it is at a base.
struct Subject {
  const Job* job = nullptr;
  std::uint64_t base = 1;
  const JobRevision* revision = nullptr;
  friend bool operator==(const Subject&, const Subject&) = default;
};

void add_once(const Subject& subject, std::vector<Subject>& subjects) {
  if (std::ranges::find(subjects, subject) == subjects.end()) subjects.push_back(subject);
}

// What is said of a member of a set to the customer is said of all.
void add_revision(const VehicleJob& job, const Subject& subject, EventKind kind,
                  std::vector<Subject>& subjects) {
  add_once(subject, subjects);
  const bool whole_set =
      kind == EventKind::kSent || kind == EventKind::kAcknowledged || kind == EventKind::kWithdrawn;
  if (!whole_set) return;
  for (const SetPlace& member : set_members(job, *subject.revision))
    add_once({member.owner, member.base->number, member.revision}, subjects);
}

Result<std::uint64_t> base_of(const Job& owner, const Note& fact) {
  const std::uint64_t number = fact.base.value_or(owner.base().number);
  if (number != 0 && number <= owner.bases.size()) return number;
  return note_usage("--base", std::to_string(number), "a base of this job", "see calseal job status");
}

Result<Subject> named_revision(const VehicleJob& job, const Note& fact) {
  CALSEAL_ASSIGN(const Job* const owner, one_controller(job, fact.controller));
  CALSEAL_ASSIGN(const std::uint64_t number, base_of(*owner, fact));
  if (const JobRevision* found = owner->bases[number - 1].find(*fact.revision))
    return Subject{owner, number, found};
  return note_usage("--revision", std::to_string(*fact.revision), "a revision of " + base_folder(number),
                    "see calseal job status");
}

// The same revision under other sequence numbers: its image must not be written, whichever bundle brings it.
void add_given_again(const VehicleJob& job, const Subject& subject, std::vector<Subject>& subjects) {
  for (const JobRevision& one : subject.job->bases[subject.base - 1].revisions) {
    if (one.number() == subject.revision->number())
      add_revision(job, {subject.job, subject.base, &one}, EventKind::kWithdrawn, subjects);
  }
}

Result<std::vector<Subject>> controllers_of(const VehicleJob& job, const Note& fact) {
  std::vector<Subject> subjects;
  for (const Job& one : job.controllers) {
    if (!fact.controller.empty() && fact.controller != one.facts.controller) continue;
    CALSEAL_ASSIGN(const std::uint64_t number, base_of(one, fact));
    subjects.push_back({&one, number, nullptr});
  }
  if (subjects.empty()) CALSEAL_CHECK(one_controller(job, fact.controller));
  return subjects;
}

// The very revisions of the newest hand-over: a number may have been given again since.
Result<std::vector<Subject>> handed_of(const VehicleJob& job, const Note& fact) {
  std::vector<Subject> subjects;
  for (const HandedBundle& handed : job.handed) {
    const Job* owner = job.find(handed.controller);
    if (owner == nullptr || (!fact.controller.empty() && fact.controller != handed.controller)) continue;
    const JobRevision* revision = owner->find(*handed.sealed.identity);
    if (revision == nullptr) {
      return note_usage("--revision", handed.name + " of the newest hand-over, which the job does not keep",
                        "the revision that it is about", "see calseal job status");
    }
    add_revision(job, {owner, handed.sealed.base, revision}, fact.kind, subjects);
  }
  if (!subjects.empty()) return subjects;
  return note_usage("--revision", "no number, and nothing of it in the newest hand-over",
                    "the revision that it is about", "state it");
}

Result<std::vector<Subject>> subjects_of(const VehicleJob& job, const Note& fact) {
  if (fact.revision) {
    std::vector<Subject> subjects;
    CALSEAL_ASSIGN(const Subject subject, named_revision(job, fact));
    add_revision(job, subject, fact.kind, subjects);
    if (fact.kind == EventKind::kWithdrawn) add_given_again(job, subject, subjects);
    return subjects;
  }
  if (about_controller(fact.kind)) return controllers_of(job, fact);
  if (fact.kind == EventKind::kWithdrawn)
    return note_usage("--revision", "no number", "the revision that is withdrawn", "state it");
  return handed_of(job, fact);
}

Result<Event> event_of(const VehicleJob& job, const Subject& subject, const Note& fact, UtcTime now) {
  const Job& one = *subject.job;
  Event event;
  if (fact.kind == EventKind::kOrdered) event = ordered_event(fact.options, std::nullopt, subject.base, now);
  event.time = time_text(now);
  event.kind = fact.kind;
  event.base = subject.base;
  event.detail = fact.detail;
  if (subject.revision == nullptr) {
    CALSEAL_CHECK(require_possible_time(job.folder, now, job.facts.opened, "the job was opened at"));
    return event;
  }
  const JobRevision& revision = *subject.revision;
  CALSEAL_CHECK(judge_order(one, one.bases[event.base - 1], revision, fact.kind));
  CALSEAL_CHECK(judge_time(one, revision, fact.kind, now));
  event.revision = revision.number();
  event.identity = revision.digest;
  event.file = revision.file;
  event.digest = revision.file_digest;
  return event;
}

}  // namespace

Result<std::vector<Noted>> note(const VehicleJob& job, const Note& fact, UtcTime now) {
  if (!by_hand(fact.kind))
    return note_usage(
        "FACT", std::string(event_name(fact.kind)),
        "sent, acknowledged, written, confirmed, withdrawn, ordered, remark, closed or reopened",
        "see --help");
  CALSEAL_CHECK(judge_detail(fact));
  CALSEAL_CHECK(judge_options(fact));
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
