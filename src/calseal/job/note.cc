#include "calseal/job/note.h"

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
      fact.kind == EventKind::kRemark || fact.kind == EventKind::kWithdrawn || fact.kind == EventKind::kSent;
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

bool by_hand(EventKind kind) {
  switch (kind) {
    case EventKind::kSent:
    case EventKind::kAcknowledged:
    case EventKind::kWritten:
    case EventKind::kConfirmed:
    case EventKind::kWithdrawn:
    case EventKind::kRemark:
      return true;
    default:
      return false;
  }
}

}  // namespace

Result<Event> note(const Job& job, const Note& fact, UtcTime now) {
  if (!by_hand(fact.kind))
    return wrong("FACT", std::string(event_name(fact.kind)),
                 "sent, acknowledged, written, confirmed, withdrawn or remark", "see --help");
  CALSEAL_CHECK(judge_detail(fact));
  const std::uint64_t number = fact.base.value_or(job.base().number);
  if (number == 0 || number > job.bases.size())
    return wrong("--base", std::to_string(number), "a base of this job", "see calseal job status");
  const JobBase& base = job.bases[number - 1];
  Event event;
  event.time = time_text(now);
  event.kind = fact.kind;
  event.base = base.number;
  event.detail = fact.detail;
  if (fact.revision) {
    const JobRevision* revision = base.find(*fact.revision);
    if (revision == nullptr)
      return wrong("--revision", std::to_string(*fact.revision), "a revision of " + base_folder(base.number),
                   "see calseal job status");
    CALSEAL_CHECK(judge_order(job, base, *revision, fact.kind));
    event.revision = revision->number();
    event.identity = revision->digest;
    event.file = revision->file;
    event.digest = revision->file_digest;
  } else if (fact.kind != EventKind::kRemark) {
    return wrong("--revision", "no number", "the revision that it is about", "state it");
  }
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {event}));
  CALSEAL_CHECK(write_file(job.folder + "/" + std::string(kEventsFile), view_of(events)));
  return event;
}

}  // namespace calseal
