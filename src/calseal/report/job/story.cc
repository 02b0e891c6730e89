#include "calseal/report/job/story.h"

#include <algorithm>
#include <vector>

#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/report/html/parts.h"

namespace calseal {
namespace {

constexpr std::size_t kMostEvents = 2000;

std::string_view sentence(EventKind kind) {
  switch (kind) {
    case EventKind::kOpened:
      return "opened";
    case EventKind::kSealed:
      return "sealed";
    case EventKind::kReissued:
      return "sealed again with its whole image";
    case EventKind::kSent:
      return "sent to the customer";
    case EventKind::kAcknowledged:
      return "arrived at the customer";
    case EventKind::kWritten:
      return "written to the controller";
    case EventKind::kConfirmed:
      return "confirmed in the controller";
    case EventKind::kWithdrawn:
      return "withdrawn: must not be written any more";
    case EventKind::kDriven:
      return "driven, with a log";
    case EventKind::kCarried:
      return "options taken over from the base before";
    case EventKind::kRemark:
      return "remark";
    case EventKind::kClosed:
      return "closed: nothing more is to be done";
    case EventKind::kReopened:
      return "reopened";
    case EventKind::kReceived:
      return "a parcel came from the customer";
    case EventKind::kOrdered:
      return "the customer ordered";
  }
  return "";
}

// Who says so, and what there is besides his word.
struct Standing {
  std::string who, behind;
};

Standing sealed_standing(const JobRevision* about, bool seals_judged) {
  if (about == nullptr) return {"the shop", "its word; the bundle is not in the folder"};
  return {"the shop, signed", seals_judged ? "the seal holds: what was sealed is proved; the time is claimed"
                                           : "the seal was not looked at"};
}

Standing standing_of(const Event& event, const JobRevision* about, bool seals_judged) {
  const std::string word = "its word alone";
  switch (event.kind) {
    case EventKind::kSealed:
    case EventKind::kReissued:
      return sealed_standing(about, seals_judged);
    case EventKind::kAcknowledged:
    case EventKind::kWritten:
      return {"the customer, as the shop noted", word};
    case EventKind::kConfirmed:
      return {"the shop", "its word on a read-back or a scan, which is not looked at here"};
    case EventKind::kDriven:
      return {"the shop", event.log && event.log->by != "word" && event.log->by != "nothing"
                              ? "a log, tied to the revision by its " + event.log->by
                              : "a log, and its word on the revision"};
    case EventKind::kReceived:
      return {"the customer, signed", "judged when it came, not looked at here"};
    case EventKind::kOrdered:
      return event.digest ? Standing{"the customer, signed", "a parcel, judged when it came"}
                          : Standing{"the customer, as the shop noted", word};
    default:
      return {"the shop", word};
  }
}

// The day, which a narrow column must not break, and the time below it.
Html when(const std::string& time) {
  return element("span.when", said(day_of(time))) +
         (time.size() > 11 ? element("span.quiet.under", said(time.substr(11))) : Html());
}

Html subject_of(const Job& job, const Event& event, const JobRevision* about) {
  if (about != nullptr) {
    const bool title = (event.kind == EventKind::kSealed || event.kind == EventKind::kReissued) &&
                       !about->manifest.title.empty();
    return Html(short_name(job, *about)) + (title ? ", " + said(about->manifest.title) : Html());
  }
  return event.revision ? "Revision " + std::to_string(*event.revision) + ", not in the folder"
                        : "Base " + std::to_string(event.base);
}

}  // namespace

std::string short_name(const Job& job, const JobRevision& revision) {
  std::string name = "Revision " + std::to_string(revision.number());
  if (job.bases.size() > 1) name += ", base " + std::to_string(revision.manifest.base_number);
  if (revision.reissue_of) name += ", again";
  return name;
}

Html story_table(const JobView& view) {
  const Job& job = *view.job;
  if (job.events.empty()) return {};
  std::vector<const Event*> events;
  for (const Event& event : job.events) events.push_back(&event);
  std::ranges::stable_sort(events, {}, &Event::time);
  Table table("what happened, by time",
              {{"when"}, {"about"}, {"what"}, {"who says so"}, {"what stands behind it"}});
  for (std::size_t i = 0; i < events.size() && i < kMostEvents; ++i) {
    const Event& event = *events[i];
    const JobRevision* about = event.identity ? job.find(*event.identity) : nullptr;
    const Standing standing = standing_of(event, about, view.seals_judged);
    const std::string words = event_words(event);
    table.add(
        {when(event.time), subject_of(job, event, about),
         Html(sentence(event.kind)) + (words.empty() ? Html() : element("span.quiet.under", said(words))),
         Html(standing.who), Html(standing.behind)});
  }
  Html out = table.html();
  if (events.size() > kMostEvents)
    out += element("p.quiet", "and " + grouped(events.size() - kMostEvents) +
                                  " more; calseal job status --json has them");
  return out;
}

}  // namespace calseal
