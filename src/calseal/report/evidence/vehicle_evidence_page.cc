#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/report/evidence/statement_parts.h"
#include "calseal/report/evidence/vehicle_evidence_report.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/parts.h"

namespace calseal {
namespace {

class VehicleEvidencePage {
 public:
  explicit VehicleEvidencePage(const VehicleEvidence& evidence)
      : evidence_(evidence), said_(statements_of(evidence)) {}

  Html body() const {
    return title() + band() + evidence_cautions() + controllers() + sets() + findings() +
           section("Proved", "From bytes. VERIFY.txt does it again without calseal.",
                   statement_html(said_.proved)) +
           section("Asserted", "Somebody says so. A signature shows whose key said it, not that it is true.",
                   statement_html(said_.asserted)) +
           section("Unknown", "What nobody can tell from this folder.", statement_html(said_.unknown)) +
           left_out();
  }

 private:
  Html title() const {
    return element(
        "header", element("p.kind", "Evidence"),
        element("h1", evidence_.job ? Html("Job ") + said(evidence_.job->facts.job) : Html("A job folder")),
        element("p.lead", evidence_.job
                              ? (evidence_.job->facts.vehicle_reference.empty()
                                     ? Html("the whole vehicle")
                                     : said(evidence_.job->facts.vehicle_reference) + ", the whole vehicle") +
                                    Html(", opened " + evidence_.job->facts.opened.substr(0, 10))
                              : Html("vehicle.json says nothing: ") +
                                    said(evidence_.job_fault ? evidence_.job_fault->found : "")));
  }

  Html band() const {
    if (!evidence_.sound())
      return verdict_band(Stance::kBad, "FINDINGS",
                          "Something is not as it should be. What holds is told apart from what does not.",
                          Html());
    const bool stated = evidence_.controllers.front().evidence.root_stated;
    return verdict_band(stated ? Stance::kGood : Stance::kSealOnly, "ALL FILES HOLD",
                        stated ? "Under the root key whose fingerprint was stated. No opinion on any cause."
                               : "Under a root key whose fingerprint nobody stated. No opinion on any cause.",
                        Html());
  }

  Html controllers() const {
    Table table("Controllers of this vehicle",
                {{"folder", false}, {"bundles that hold", true}, {"that do not", true}, {"findings", true}});
    for (const ControllerEvidence& one : evidence_.controllers)
      table.add({said(one.folder), number(count_bundles(one.evidence, true)),
                 number(count_bundles(one.evidence, false)), number(one.evidence.findings.size())});
    return section("Controllers", "Each folder is evidence by itself; its evidence.html tells its story.",
                   table.html());
  }

  Html sets() const {
    if (!evidence_.job) return {};
    Html out;
    for (const JobSet& set : sets_of(*evidence_.job)) {
      Table table("Members of a set", {{"write", true}, {"controller"}, {"revision"}, {"identity"}});
      for (std::size_t i = 0; i < set.members.size(); ++i) {
        const JobSet::Member& member = set.members[i];
        const JobRevision* const here = member.here ? member.here->revision : nullptr;
        table.add({number(i + 1), said(member.named->controller),
                   here != nullptr
                       ? number(here->number())
                       : Html("sequence " + std::to_string(member.named->sequence) + ", not here"),
                   here != nullptr ? calseal::code(digest_text(here->digest)) : Html()});
      }
      out += element("p", set_name(set) + ", to be written: " + order_words(set) + ".") + table.html();
    }
    return out.empty() ? out : section("Sets", "Revisions that are valid only together.", out);
  }

  Html findings() const {
    Html out;
    const auto add = [&](const std::string& text, const std::string& code, const std::string& file) {
      out += warning(said(text) + element("span.quiet.under", said(code + ", " + file)));
    };
    for (const Finding& finding : evidence_.findings)
      add(finding.text, std::string(info(finding.code).name), "job/" + finding.path);
    if (evidence_.job) {
      for (const JobFinding& finding : evidence_.job->findings) add(finding.text, finding.code, finding.file);
    }
    return out.empty()
               ? out
               : section("Findings", "docs/audit.md and docs/job.md of calseal explain the codes.", out);
  }

  Html left_out() const {
    if (evidence_.left_out.empty()) return {};
    Html items;
    for (const std::string& path : evidence_.left_out) items += element("li", said(path));
    return section("Left out", Html(), element("ul", items));
  }

  const VehicleEvidence& evidence_;
  Statements said_;
};

}  // namespace

std::string evidence_html(const VehicleEvidence& evidence, const std::string& tool) {
  const std::string title =
      evidence.job ? "Evidence: job " + evidence.job->facts.job : std::string("Evidence");
  // Proved and asserted stand apart on these pages; a edge says which it is under its headings.
  return html_document({title, tool, VehicleEvidencePage(evidence).body(),
                        PaperEdge{title, "",
                                  evidence.sound() ? "verified, proved and claimed told apart"
                                                   : "FINDINGS, " + paper_state(false, false)}});
}

}  // namespace calseal
