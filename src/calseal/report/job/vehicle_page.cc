#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/job/next_step.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/job/job_page.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

class VehiclePage {
 public:
  explicit VehiclePage(const VehicleView& view) : view_(view), vehicle_(*view.vehicle) {}

  Html body() const {
    Html out = title() + band() + next() + findings() + sets();
    for (const Job& job : vehicle_.controllers)
      out += controller_html({&job, &vehicle_, view_.seals_judged, view_.tool});
    return out;
  }

  // Every controller's newest revision, by the digits that lists of revisions show.
  PaperEdge edge() const {
    PaperEdge edge{"Job " + vehicle_.facts.job, "",
                   (withdrawn().empty() ? "" : "WITHDRAWN, ") +
                       paper_state(view_.seals_judged && count_findings(vehicle_) == 0, false)};
    for (const Job& job : vehicle_.controllers) {
      const JobRevision* newest = job.base().newest();
      if (newest != nullptr)
        edge.identity += (edge.identity.empty() ? "" : ", ") + job.facts.controller + " revision " +
                         std::to_string(newest->number()) + " " + digest_text(newest->digest).substr(0, 16);
    }
    return edge;
  }

 private:
  Html title() const {
    Html line;
    for (const Job& job : vehicle_.controllers)
      line += (line.empty() ? Html() : Html(", ")) + said(job.facts.controller);
    if (!vehicle_.facts.vehicle_reference.empty()) line += ", " + said(vehicle_.facts.vehicle_reference);
    line += ", opened " + vehicle_.facts.opened.substr(0, 10);
    return element("header", element("p.kind", "Job report"), element("h1", "Job ", said(vehicle_.facts.job)),
                   element("p.lead", line));
  }

  // Controllers whose newest revision must not be written.
  std::string withdrawn() const {
    std::string names;
    for (const Job& job : vehicle_.controllers) {
      const JobRevision* newest = job.base().newest();
      if (newest != nullptr && newest->withdrawn)
        names += (names.empty() ? "" : ", ") + job.facts.controller + " revision " +
                 std::to_string(newest->number());
    }
    return names;
  }

  Html band() const {
    if (const std::size_t count = count_findings(vehicle_); count != 0) {
      return verdict_band(Stance::kBad, count == 1 ? "1 FINDING" : grouped(count) + " FINDINGS",
                          "Something in the job's folder is not as it should be.", Html());
    }
    if (const std::string names = withdrawn(); !names.empty()) {
      return verdict_band(
          Stance::kBad, "WITHDRAWN",
          (view_.seals_judged ? "All seals hold, but the newest revision must not be written: "
                              : "No trust file was given. The newest revision must not be "
                                "written: ") +
              names + ".",
          Html());
    }
    if (!view_.seals_judged) {
      return verdict_band(Stance::kNotVerified, "SEALS NOT LOOKED AT",
                          "No trust file was given. What follows is what the folder says.", Html());
    }
    return verdict_band(Stance::kGood, "ALL SEALS HOLD", "Nothing in the job's folder contradicts them.",
                        Html());
  }

  Html next() const {
    Html out;
    for (const NextStep& step : next_steps(vehicle_)) {
      out += element("p", step.controller.empty() ? Html() : said(step.controller) + ": ", said(step.text)) +
             element("p.command", code(step.command));
    }
    return section("Next steps", Html(), out);
  }

  // Those of a controller stand with its story.
  Html findings() const {
    Html out;
    for (const JobFinding& finding : vehicle_.findings) {
      out += warning(said(finding.text) +
                     element("span.quiet.under",
                             said(finding.file.empty() ? finding.code : finding.code + ", " + finding.file)));
    }
    return out.empty() ? out : section("Findings", "Read and explained, never mended silently.", out);
  }

  Html sets() const {
    Html out;
    for (const JobSet& set : sets_of(vehicle_)) {
      Table table("Members of a set, in the order of writing",
                  {{"write", true}, {"controller"}, {"revision"}, {"identity"}});
      for (std::size_t i = 0; i < set.members.size(); ++i) table.add(row_of(set.members[i], i + 1));
      out += element("p", write_order_words(*set.text)) + table.html();
    }
    return out.empty() ? out : section("Sets", "Revisions that are valid only together.", out);
  }

  static std::vector<Html> row_of(const JobSet::Member& member, std::size_t place) {
    const std::string sequence = "sequence " + std::to_string(member.named->sequence);
    if (!member.here)
      return {number(place), said(member.named->controller), Html(sequence + ", not here"), Html()};
    const JobRevision& here = *member.here->revision;
    return {number(place), said(member.named->controller),
            Html(std::to_string(here.number()) +
                 (member.here->outdated() ? ", base " + std::to_string(member.here->base->number) : "") +
                 ", " + sequence + (here.withdrawn ? ", withdrawn" : "")),
            code(digest_text(here.digest))};
  }

  const VehicleView& view_;
  const VehicleJob& vehicle_;
};

}  // namespace

std::string vehicle_html(const VehicleView& view) {
  const VehiclePage page(view);
  return html_document({"Job " + view.vehicle->facts.job, view.tool, page.body(), page.edge()});
}

std::size_t count_findings(const VehicleJob& vehicle) {
  std::size_t count = vehicle.findings.size();
  for (const Job& job : vehicle.controllers) count += job.findings.size();
  return count;
}

JsonValue vehicle_summary_json(const VehicleView& view) {
  const VehicleJob& vehicle = *view.vehicle;
  return json_object({{"kind", json("vehicle")},
                      {"job", json(vehicle.facts.job)},
                      {"controllers", json_array(vehicle.controllers,
                                                 [](const Job& job) { return json(job.facts.controller); })},
                      {"sets", json(sets_of(vehicle).size())},
                      {"findings", json(count_findings(vehicle))},
                      {"next", next_steps_json(vehicle)}});
}

}  // namespace calseal
