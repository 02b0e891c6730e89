#include "calseal/report/job/worklist_report.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

std::string waits_words(const ListedJob& job) {
  return job.fault ? "shop" : std::string(waits_for_name(job.waits));
}

// What it waits for: the codes of its steps, each with its controllers.
std::string step_words(const ListedJob& job) {
  if (job.fault) return "cannot be read: " + std::string(code(job.fault->reason));
  std::string words;
  for (const NextStep& step : job.steps)
    words +=
        (words.empty() ? "" : ", ") + step.code + (job.steps.size() == 1 ? "" : " (" + step.controller + ")");
  if (job.findings > 0) words += "; " + counted(job.findings, "finding", "findings");
  return words;
}

std::size_t waiting(const Worklist& list, WaitsFor who) {
  return static_cast<std::size_t>(std::ranges::count_if(list.jobs, [&](const ListedJob& job) {
    return job.fault ? who == WaitsFor::kShop : job.waits == who;
  }));
}

std::string sum_words(const Worklist& list) {
  return counted(list.jobs.size(), "job", "jobs") + ": " + grouped(waiting(list, WaitsFor::kShop)) +
         " for you to act on, " + grouped(waiting(list, WaitsFor::kCustomer)) +
         " waiting for the customer, " + grouped(waiting(list, WaitsFor::kNobody)) + " closed";
}

}  // namespace

std::string worklist_text(const Worklist& list, const Page& page) {
  Columns columns;
  for (const ListedJob& job : list.jobs) {
    const Mark mark = job.fault || job.findings > 0  ? Mark::kBad
                      : job.waits == WaitsFor::kShop ? Mark::kGood
                                                     : Mark::kPlain;
    columns.add({{waits_words(job)},
                 {day_of(job.since)},
                 {printable(job.folder, 60)},
                 {printable(job.facts.vehicle_reference, 40)},
                 {step_words(job), mark}});
  }
  std::string text = sum_words(list) + "\n\n" + columns.text(page, 2);
  for (const std::string& folder : list.unread)
    text +=
        labelled(page, "NOT READ", printable(folder, 1000) + ": jobs in it are not in this list", Mark::kBad);
  return text;
}

JsonValue worklist_json(const Worklist& list) {
  return json_object(
      {{"calseal", json("jobs/1")},
       {"jobs", json_array(list.jobs,
                           [](const ListedJob& job) {
                             JsonValue value =
                                 json_object({{"folder", json(printable(job.folder, 4096))},
                                              {"job", json(job.facts.job)},
                                              {"vehicle_reference", json(job.facts.vehicle_reference)},
                                              {"waits_for", json(waits_words(job))},
                                              {"since", json(job.since)},
                                              {"findings", json(job.findings)},
                                              {"next", json_array(job.steps, next_step_json)}});
                             if (job.fault) value.members.emplace_back("fault", json_error(*job.fault));
                             return value;
                           })},
       {"unread",
        json_array(list.unread, [](const std::string& folder) { return json(printable(folder, 4096)); })}});
}

std::string worklist_html(const Worklist& list, const std::string& tool) {
  Table table("all jobs, who must act first on top",
              {{"waits for"}, {"since"}, {"job"}, {"vehicle"}, {"next"}});
  for (const ListedJob& job : list.jobs) {
    Html next;
    if (job.fault) next = said(step_words(job));
    for (const NextStep& step : job.steps) {
      next += element("p", said((step.controller.empty() ? "" : step.controller + ": ") + step.text)) +
              element("p.command", code(step.command));
    }
    if (job.findings > 0)
      next += warning(said(counted(job.findings, "finding", "findings") + ": calseal job status"));
    table.add({said(waits_words(job)), said(day_of(job.since)), said(job.folder),
               said(job.facts.vehicle_reference), next});
  }
  Html body = element("header", element("p.kind", "Jobs"), element("h1", "What waits for whom"),
                      element("p.lead", said(sum_words(list))));
  for (const std::string& folder : list.unread)
    body += warning(said(folder + " could not be read: jobs in it are not on this page"));
  body += table.empty() ? element("p.quiet", "No job is in this folder.") : table.html();
  return html_document({"Jobs", tool, body, PaperEdge{"Jobs", "", paper_state(false, false)}});
}

}  // namespace calseal
