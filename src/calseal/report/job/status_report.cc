#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/order_lines.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/customer_order.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

// Facts about a revision in the order in which they should happen.
constexpr EventKind kFacts[] = {EventKind::kSent, EventKind::kAcknowledged, EventKind::kWritten,
                                EventKind::kConfirmed};

std::string fact_words(const Job& job, const JobRevision& revision) {
  std::string words;
  for (const EventKind kind : kFacts) {
    const Event* event = job.last(kind, revision);
    if (event == nullptr) continue;
    words += (words.empty() ? "" : ", ") + std::string(event_name(kind)) + " " + day_of(event->time);
    if (!event->detail.empty()) words += " (" + printable(event->detail) + ")";
  }
  return words.empty() ? "not sent" : words;
}

std::string account_words(const JobRevision& revision) {
  if (revision.number() == 0) return "";
  std::string words = bytes_text(revision.changed) + " changed";
  if (revision.manifest.options.empty()) return words + ", no options declared";
  std::string names;
  for (const ManifestOption& option : revision.manifest.options)
    names += (names.empty() ? "" : ", ") + printable(option.name);
  words += "; options " + names;
  return words + (revision.unaccounted == 0 ? "; all accounted for"
                                            : "; " + bytes_text(revision.unaccounted) + " UNACCOUNTED");
}

std::string set_words(const SetDescriptor& set, const std::string& controller) {
  std::string words;
  for (const SetMember& member : set.members) {
    if (member.controller == controller) continue;
    words += (words.empty() ? "valid only with " : " and ") + member.controller + ", sequence " +
             std::to_string(member.sequence);
  }
  return words;
}

std::string revision_text(const Job& job, const JobRevision& revision, bool seals_judged, const Page& page) {
  std::string name = "revision " + std::to_string(revision.number());
  if (revision.number() == 0) name += ", the way back";
  if (revision.reissue_of) name += ", again with its whole image";
  if (!revision.manifest.title.empty()) name += ", " + printable(revision.manifest.title);
  std::string text = "\n  " + name + "\n";
  text += labelled(page, "  bundle",
                   printable(revision.file) + ", sequence " + std::to_string(revision.manifest.sequence) +
                       (seals_judged ? ", seal holds" : ", seal not looked at"));
  text += labelled(page, "  identity", digest_text(revision.digest));
  if (const std::string words = account_words(revision); !words.empty())
    text += labelled(
        page, "  account", words,
        revision.unaccounted > 0 && !revision.manifest.options.empty() ? Mark::kCaution : Mark::kPlain);
  if (revision.set) text += labelled(page, "  set", set_words(*revision.set, job.facts.controller));
  if (revision.incomplete) text += labelled(page, "  signatures", "a required one is missing", Mark::kBad);
  if (revision.manifest.trial)
    text += labelled(page, "  trial", "until " + revision.manifest.expires, Mark::kCaution);
  text += labelled(page, "  customer", fact_words(job, revision));
  if (revision.withdrawn) {
    const Event* event = job.last(EventKind::kWithdrawn, revision);
    text += labelled(page, "  WITHDRAWN",
                     event == nullptr ? "by the list of withdrawals"
                                      : day_of(event->time) + ": " + printable(event->detail),
                     Mark::kBad);
  }
  for (const OrderLine& line : order_lines(revision.manifest)) {
    if (line.state == OrderState::kIn) continue;
    text += labelled(page, "  order", order_subject(line) + ": " + order_words(line), Mark::kCaution);
  }
  for (const Event& event : job.events) {
    if (event.kind != EventKind::kDriven || event.identity != revision.digest || !event.log) continue;
    text += labelled(page, "  log",
                     printable(event.file) + ": " + log_length(*event.log) + ", by " +
                         (event.log->by == "word" ? "your word: " + printable(event.detail) : event.log->by));
  }
  return text;
}

std::string base_text(const Job& job, const JobBase& base, bool seals_judged, const Page& page) {
  std::string text = "\nbase " + std::to_string(base.number) +
                     (base.number == job.base().number ? ", current" : ", past") +
                     (base.reason.empty() ? "" : ": " + printable(base.reason)) + "\n";
  std::string files;
  for (const std::string& file : base.read) files += (files.empty() ? "" : ", ") + printable(file);
  text += labelled(page, "read", files.empty() ? "none" : files);
  if (!base.map_name.empty()) text += labelled(page, "region map", printable(base.map_words()));
  std::string options;
  for (const std::string& file : base.options) options += (options.empty() ? "" : ", ") + printable(file);
  if (!options.empty()) text += labelled(page, "options", options);
  if (base.way_back() == nullptr) text += labelled(page, "way back", "not sealed yet", Mark::kBad);
  for (const JobRevision& revision : base.revisions) text += revision_text(job, revision, seals_judged, page);
  return text;
}

// Logs that count as no revision's.
std::string other_logs_text(const Job& job, const Page& page) {
  std::string text;
  for (const Event& event : job.events) {
    if (event.kind != EventKind::kDriven || !event.log ||
        (event.identity && job.find(*event.identity) != nullptr))
      continue;
    text += labelled(page, "log",
                     printable(event.file) + ": " + log_length(*event.log) + "; counts as no revision's");
  }
  return text.empty() ? "" : "\n" + text;
}

JsonValue fact_json(const Event& event) {
  return json_object({{"time", json(event.time)}, {"detail", json(event.detail)}});
}

JsonValue revision_json(const Job& job, const JobRevision& revision) {
  JsonValue value =
      json_object({{"revision", json(revision.number())},
                   {"sequence", json(revision.manifest.sequence)},
                   {"identity", json_digest(revision.digest)},
                   {"bundle", json(revision.file)},
                   {"title", json(revision.manifest.title)},
                   {"reissue_of", json_digest(revision.reissue_of)},
                   {"seal", json(revision.verified ? "holds" : "not-looked-at")},
                   {"incomplete", json(revision.incomplete)},
                   {"set", json_digest(revision.manifest.set)},
                   {"options", json_array(revision.manifest.options,
                                          [](const ManifestOption& option) { return json(option.name); })},
                   {"changed_bytes", json(revision.changed)},
                   {"unaccounted_bytes", json(revision.unaccounted)},
                   {"withdrawn", json(revision.withdrawn)}});
  for (const EventKind kind : kFacts) {
    std::vector<Event> events;
    for (const Event& event : job.events) {
      if (event.kind == kind && event.identity == revision.digest) events.push_back(event);
    }
    value.members.emplace_back(std::string(event_name(kind)), json_array(events, fact_json));
  }
  return value;
}

JsonValue base_json(const Job& job, const JobBase& base) {
  return json_object({{"base", json(base.number)},
                      {"current", json(base.number == job.base().number)},
                      {"reason", json(base.reason)},
                      {"read", json_strings(base.read)},
                      {"options", json_strings(base.options)},
                      {"region_map", json_digest(base.map_digest)},
                      {"revisions", json_array(base.revisions, [&](const JobRevision& one) {
                         return revision_json(job, one);
                       })}});
}

// What the customer wants, as noted last.
std::string order_text(const VehicleJob& job, const Page& page) {
  const CustomerOrder order = order_of(job);
  if (order.time.empty()) return "";
  std::string names;
  for (const std::string& name : order.options) names += (names.empty() ? "" : ", ") + printable(name);
  return labelled(page, "ordered",
                  (names.empty() ? "nothing" : names) + ", noted " + day_of(order.time) +
                      (order.parcel ? " from his parcel" : ""));
}

JsonValue order_json(const CustomerOrder& order) {
  if (order.time.empty()) return JsonValue{};
  return json_object({{"time", json(order.time)},
                      {"parcel", json_digest(order.parcel)},
                      {"options", json_strings(order.options)}});
}

std::string findings_text(const std::vector<JobFinding>& findings, const Page& page) {
  if (findings.empty()) return {};
  std::string text = "\nfindings\n";
  for (const JobFinding& finding : findings)
    text += labelled(page, "!",
                     finding.code + (finding.file.empty() ? "" : ", " + finding.file) + ": " +
                         printable(finding.text, 1000),
                     Mark::kBad);
  return text;
}

JsonValue findings_json(const std::vector<JobFinding>& findings) {
  return json_array(findings, [](const JobFinding& finding) {
    return json_object(
        {{"code", json(finding.code)}, {"file", json(finding.file)}, {"text", json(finding.text)}});
  });
}

std::string controller_text(const Job& job, bool seals_judged, const Page& page) {
  const JobRevision* newest = job.base().newest();
  std::string text = "\n" + job.facts.controller + (job.closed() ? ", closed" : "") + "\n";
  text += labelled(page, "is at",
                   "base " + std::to_string(job.base().number) +
                       (newest == nullptr ? ", nothing sealed yet"
                                          : ", newest is revision " + std::to_string(newest->number())));
  for (const JobBase& base : job.bases) text += base_text(job, base, seals_judged, page);
  return text + other_logs_text(job, page) + findings_text(job.findings, page);
}

JsonValue controller_json(const Job& job) {
  std::vector<Event> logs;
  for (const Event& event : job.events) {
    if (event.kind == EventKind::kDriven) logs.push_back(event);
  }
  return json_object(
      {{"controller", json(job.facts.controller)},
       {"closed", json(job.closed())},
       {"salt_present", json(job.salt_present)},
       {"bases", json_array(job.bases, [&](const JobBase& base) { return base_json(job, base); })},
       {"logs", json_array(logs, [](const Event& log) { return record_json(log, event_fields); })},
       {"findings", findings_json(job.findings)}});
}

}  // namespace

std::string job_text(const VehicleJob& job, bool seals_judged, const Page& page) {
  std::string text =
      "job " + job.facts.job +
      (job.facts.vehicle_reference.empty() ? "" : ", " + printable(job.facts.vehicle_reference)) + "\n";
  if (!seals_judged)
    text += labelled(page, "seals", "not looked at; --trust SHOP.TRUST has them judged", Mark::kCaution);
  text += order_text(job, page);
  for (const Job& one : job.controllers) text += controller_text(one, seals_judged, page);
  return text + findings_text(job.findings, page) + "\n" + next_steps_text(job, page);
}

JsonValue job_json(const VehicleJob& job, bool seals_judged) {
  return json_object(
      {{"calseal", json("job-status/1")},
       {"job", json(job.facts.job)},
       {"vehicle_reference", json(job.facts.vehicle_reference)},
       {"opened", json(job.facts.opened)},
       {"seals_judged", json(seals_judged)},
       {"handover", json(job.newest_handover == 0 ? "" : handover_folder(job.newest_handover))},
       {"order", order_json(order_of(job))},
       {"controllers", json_array(job.controllers, controller_json)},
       {"findings", findings_json(job.findings)},
       {"next", next_steps_json(job)}});
}

std::string next_step_text(const NextStep& step, const Page& page) {
  return labelled(page, "next", step.text, Mark::kGood) + "               " + step.command + "\n";
}

std::string next_steps_text(const VehicleJob& job, const Page& page) {
  std::string text;
  for (const NextStep& step : next_steps(job)) {
    if (job.controllers.size() > 1 && !step.controller.empty()) text += step.controller + "\n";
    text += next_step_text(step, page);
  }
  return text;
}

JsonValue next_step_json(const NextStep& step) {
  return json_object({{"code", json(step.code)},
                      {"controller", json(step.controller)},
                      {"base", json(step.base)},
                      {"revision", json(step.revision)},
                      {"text", json(step.text)},
                      {"command", json(step.command)}});
}

JsonValue next_steps_json(const VehicleJob& job) { return json_array(next_steps(job), next_step_json); }

}  // namespace calseal
