#include "calseal/report/job/job_page.h"

#include <algorithm>
#include <array>
#include <optional>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/order_lines.h"
#include "calseal/job/next_step.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/line.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/html/time_picture.h"
#include "calseal/report/job/job_report.h"
#include "calseal/report/job/story.h"

namespace calseal {
namespace {

constexpr std::size_t kMostRows = 200;  // of the picture of time
constexpr std::size_t kMostMarks = 28;  // of one of its rows

TimeSign sign_of(EventKind kind) {
  switch (kind) {
    case EventKind::kOpened:
    case EventKind::kCarried:
      return TimeSign::kBegun;
    case EventKind::kSealed:
    case EventKind::kReissued:
      return TimeSign::kSealed;
    case EventKind::kSent:
      return TimeSign::kHandedOver;
    case EventKind::kAcknowledged:
      return TimeSign::kHeard;
    case EventKind::kWritten:
      return TimeSign::kWritten;
    case EventKind::kConfirmed:
      return TimeSign::kProved;
    case EventKind::kDriven:
      return TimeSign::kDriven;
    case EventKind::kWithdrawn:
      return TimeSign::kStopped;
    default:
      return TimeSign::kNoted;
  }
}

class JobPage {
 public:
  explicit JobPage(const JobView& view) : view_(view), job_(*view.job), next_(next_step(job_)) {}

  Html body() const { return title() + band() + story(); }
  Html story() const { return next() + findings() + happened() + times() + bases(); }
  // On the page of a vehicle every heading says whose it is.
  JobPage& within_vehicle() {
    prefix_ = job_.facts.controller + ": ";
    return *this;
  }

 private:
  Html part(std::string_view title, const Html& note, const Html& content) const {
    return section(prefix_ + std::string(title), note, content);
  }

  Html title() const {
    Html line = said(job_.facts.controller);
    if (!job_.facts.vehicle_reference.empty()) line += ", " + said(job_.facts.vehicle_reference);
    line += ", opened " + day_of(job_.facts.opened);
    return element("header", element("p.kind", "Job report"), element("h1", "Job ", said(job_.facts.job)),
                   element("p.lead", line));
  }

  Html band() const {
    const JobRevision* newest = job_.base().newest();
    const std::string stands =
        "Base " + std::to_string(job_.base().number) +
        (newest == nullptr ? ", nothing sealed yet."
                           : ", newest is revision " + std::to_string(newest->number()) +
                                 (newest->withdrawn ? ", which is withdrawn." : "."));
    if (!job_.findings.empty()) {
      return verdict_band(
          Stance::kBad, job_.findings.size() == 1 ? "1 FINDING" : grouped(job_.findings.size()) + " FINDINGS",
          "Something in the folder is not as it should be. " + stands, Html());
    }
    if (newest != nullptr && newest->withdrawn) {
      return verdict_band(
          Stance::kBad, "REVISION " + std::to_string(newest->number()) + " IS WITHDRAWN",
          (view_.seals_judged ? "All seals hold, but the newest revision must not be written. "
                              : "No trust file was given. The newest revision must not be "
                                "written. ") +
              stands,
          Html());
    }
    if (!view_.seals_judged) {
      return verdict_band(Stance::kNotVerified, "SEALS NOT LOOKED AT",
                          "No trust file was given. What follows is what the folder says. " + stands, Html());
    }
    return verdict_band(Stance::kGood, "ALL SEALS HOLD", "Nothing in the folder contradicts them. " + stands,
                        Html());
  }

  Html next() const {
    return part("Next step", Html(),
                element("p", said(next_.text)) + element("p.command", code(next_.command)));
  }

  Html findings() const {
    Html out;
    for (const JobFinding& finding : job_.findings) {
      out += warning(said(finding.text) +
                     element("span.quiet.under",
                             said(finding.file.empty() ? finding.code : finding.code + ", " + finding.file)));
    }
    return out.empty() ? out : part("Findings", "Read and explained, never mended silently.", out);
  }

  std::vector<const JobRevision*> revisions() const {
    std::vector<const JobRevision*> all;
    for (const JobBase& base : job_.bases) {
      for (const JobRevision& revision : base.revisions) all.push_back(&revision);
    }
    return all;
  }

  // Events of one revision, or of none.
  TimeRow row_of(const JobRevision* revision) const {
    TimeRow row;
    for (const Event& event : job_.events) {
      const JobRevision* about = event.identity ? job_.find(*event.identity) : nullptr;
      if (about != revision || row.marks.size() == kMostMarks) continue;
      const std::optional<UtcTime> time = parse_time(event.time);
      if (!time) continue;
      row.marks.push_back({time->seconds, sign_of(event.kind),
                           std::string(event_name(event.kind)) + " " + day_of(event.time)});
    }
    std::ranges::stable_sort(row.marks, {}, &TimeMark::seconds);
    return row;
  }

  Html times() const {
    TimePicture picture;
    picture.caption = "What happened to each revision, over time";
    TimeRow general = row_of(nullptr);
    general.name = element("span.quiet", "the job");
    if (!general.marks.empty()) picture.rows.push_back(std::move(general));
    for (const JobRevision* revision : revisions()) {
      if (picture.rows.size() == kMostRows) break;
      TimeRow row = row_of(revision);
      row.name = Html(short_name(job_, *revision));
      picture.rows.push_back(std::move(row));
    }
    std::string first, last;
    for (const Event& event : job_.events) {
      if (!parse_time(event.time)) continue;
      if (first.empty() || event.time < first) first = event.time;
      if (event.time > last) last = event.time;
    }
    if (picture.rows.empty() || first.empty()) return {};
    picture.first = day_of(first);
    picture.last = day_of(last);
    constexpr std::array<std::pair<TimeSign, std::string_view>, 9> kWords = {
        {{TimeSign::kBegun, "base opened"},
         {TimeSign::kSealed, "sealed"},
         {TimeSign::kHandedOver, "sent"},
         {TimeSign::kHeard, "acknowledged"},
         {TimeSign::kWritten, "written"},
         {TimeSign::kProved, "confirmed"},
         {TimeSign::kDriven, "driven, with a log"},
         {TimeSign::kStopped, "withdrawn"},
         {TimeSign::kNoted, "remark"}}};
    Html legend;
    for (const auto& key : kWords) {
      const bool there = std::ranges::any_of(picture.rows, [&](const TimeRow& row) {
        return std::ranges::any_of(row.marks, [&](const TimeMark& mark) { return mark.sign == key.first; });
      });
      if (there) legend += element("li", time_key(key.first, key.second));
    }
    return part("Over time", "As noted in the folder. Marks that would cover one another stand side by side.",
                time_picture(picture) + element("ul.legend.keys", legend));
  }

  Html facts_of(const JobRevision& revision) const {
    Facts facts;
    Html customer;
    for (const EventKind kind :
         {EventKind::kSent, EventKind::kAcknowledged, EventKind::kWritten, EventKind::kConfirmed}) {
      const Event* event = job_.last(kind, revision);
      if (event == nullptr) continue;
      customer += element("li", std::string(event_name(kind)) + " " + day_of(event->time),
                          event->detail.empty() ? Html() : ": " + said(event->detail));
    }
    facts.add("customer",
              customer.empty() ? element("span.quiet", "not sent") : element("ul.plain", customer));
    if (revision.number() != 0) {
      Html account = byte_count(revision.changed) + " changed";
      std::string names;
      for (const ManifestOption& option : revision.manifest.options)
        names += (names.empty() ? "" : ", ") + option.name;
      account += names.empty() ? Html("; no options declared") : "; options " + said(names);
      if (!names.empty())
        account += revision.unaccounted == 0
                       ? Html("; all accounted for")
                       : element("strong", "; " + bytes_text(revision.unaccounted) + " unaccounted");
      facts.add("account", account);
    }
    Html ordered;
    for (const OrderLine& line : order_lines(revision.manifest))
      ordered += element("li", said(order_subject(line)), ": ", said(order_words(line)));
    if (!ordered.empty()) facts.add("ordered", element("ul.plain", ordered));
    if (revision.incomplete) facts.add("signatures", element("strong", "a required one is missing"));
    if (revision.manifest.trial) facts.add("trial", "until " + revision.manifest.expires);
    if (revision.withdrawn) {
      const Event* event = job_.last(EventKind::kWithdrawn, revision);
      facts.add("withdrawn", event == nullptr ? Html("by the list of withdrawals")
                                              : Html(day_of(event->time)) + ": " + said(event->detail));
    }
    Html logs;
    for (const Event& event : job_.events) {
      if (event.kind != EventKind::kDriven || event.identity != revision.digest || !event.log) continue;
      logs += element("li", said(event.file), ": " + log_length(*event.log) + ", tied by ",
                      event.log->by == "word" ? Html("the shop's word") : said(event.log->by));
    }
    if (!logs.empty()) facts.add("logs", element("ul.plain", logs));
    if (revision.set) facts.add("set", partners_of(revision));
    facts.add("bundle", said(revision.file) + (view_.seals_judged ? ", seal holds" : ", seal not looked at"));
    facts.add("identity", code(digest_text(revision.digest)));
    return facts.html();
  }

  // By the vehicle's folder where it is there, else by what the bundle itself says of them.
  Html partners_of(const JobRevision& revision) const {
    const VehicleJob nothing;
    const JobSet set = set_of(view_.vehicle == nullptr ? nothing : *view_.vehicle, revision);
    Html partners;
    for (const JobSet::Member& member : set.members) {
      if (member.named->controller == job_.facts.controller) continue;
      const std::string sequence = ", sequence " + std::to_string(member.named->sequence);
      if (member.here) {
        partners +=
            element("li", said(member.named->controller),
                    " revision " + std::to_string(member.here->revision->number()) + sequence + ", identity ",
                    code(digest_text(member.here->revision->digest)));
      } else {
        partners += element("li", said(member.named->controller),
                            sequence + (view_.vehicle == nullptr ? "" : ", not here"));
      }
    }
    return element("ul.plain", element("li", "valid only with:"), partners,
                   element("li", write_order_words(*set.text)));
  }

  Html bases() const {
    Html out;
    for (const JobBase& base : job_.bases) {
      std::vector<LineStop> stops;
      for (const JobRevision& revision : base.revisions) {
        LineStop stop;
        const bool newest = &base == &job_.base() && &revision == base.newest();
        stop.kind = revision.withdrawn       ? LineStop::Kind::kWithdrawn
                    : newest                 ? LineStop::Kind::kThis
                    : revision.number() == 0 ? LineStop::Kind::kOrigin
                                             : LineStop::Kind::kOther;
        stop.title = Html("Revision " + std::to_string(revision.number()) +
                          (revision.number() == 0 ? ", the way back" : "") +
                          (revision.reissue_of ? ", again with its whole image" : ""));
        if (!revision.manifest.title.empty()) stop.title += ": " + said(revision.manifest.title);
        stop.note = revision.withdrawn ? "withdrawn" : newest ? "newest" : "";
        const JobRevision* parent = revision.manifest.parent ? job_.find(*revision.manifest.parent) : nullptr;
        std::string on = "sequence " + std::to_string(revision.manifest.sequence) + ", sealed " +
                         day_of(revision.manifest.claimed_time);
        if (parent != nullptr && parent->manifest.base_number == base.number)
          on += ", on revision " + std::to_string(parent->number());
        stop.text = element("p.quiet", on) + facts_of(revision);
        stops.push_back(std::move(stop));
      }
      Facts facts;
      facts.add("because", said(base.reason));
      std::string read;
      for (const std::string& file : base.read) read += (read.empty() ? "" : ", ") + file;
      facts.add("read", read.empty() ? Html("none") : said(read));
      if (!base.map_name.empty()) facts.add("region map", said(base.map_words()));
      out += element("h3", "Base " + std::to_string(base.number),
                     element("span.quiet", base.number == job_.base().number ? ", current" : ", past"));
      out += facts.html();
      out += stops.empty() ? element("p.quiet", "Nothing sealed yet: there is no way back.")
                           : line_of_stops(stops);
    }
    return part("Bases and revisions", "Each base has its own way back, and a line of revisions from there.",
                out);
  }

  Html happened() const {
    const Html table = story_table(view_);
    if (table.empty()) return {};
    return part("The story",
                "By the dates noted in the folder. Signed means that a key signed it, not that it is true; a "
                "word alone is no more than that.",
                table);
  }

  const JobView& view_;
  const Job& job_;
  NextStep next_;
  std::string prefix_;
};

}  // namespace

std::string write_order_words(const SetDescriptor& set) {
  std::string words;
  for (const std::string& controller : set.write_order)
    words += (words.empty() ? "to be written: " : ", then ") + controller;
  return words + (set.drivable_between ? "; the vehicle may be driven in between"
                                       : "; the vehicle must not be driven in between");
}

Html controller_html(const JobView& view) { return JobPage(view).within_vehicle().story(); }

std::string job_html(const JobView& view) {
  const std::string title = "Job " + view.job->facts.job + ", " + view.job->facts.controller;
  const JobRevision* newest = view.job->base().newest();
  PaperEdge edge{title, newest == nullptr ? "" : digest_text(newest->digest),
                 (newest != nullptr && newest->withdrawn ? "WITHDRAWN, " : "") +
                     paper_state(view.seals_judged && view.job->findings.empty(), false)};
  if (newest != nullptr) edge.about += ", newest revision " + std::to_string(newest->number());
  return html_document({title, view.tool, JobPage(view).body(), edge});
}

JsonValue job_summary_json(const JobView& view) {
  return json_object({{"kind", json("job")},
                      {"job", json(view.job->facts.job)},
                      {"findings", json(view.job->findings.size())},
                      {"next", next_step_json(next_step(*view.job))}});
}

}  // namespace calseal
