#include "calseal/base/text.h"
#include "calseal/report/evidence/evidence_report.h"
#include "calseal/report/evidence/statement_parts.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/layout/page.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

class EvidencePage {
 public:
  explicit EvidencePage(const JobEvidence& evidence) : evidence_(evidence), said_(statements_of(evidence)) {}

  Html body() const {
    return title() + band() + evidence_cautions() +
           section("Proved", "From bytes. VERIFY.txt does it again without calseal.",
                   statement_html(said_.proved)) +
           section("Asserted", "Somebody says so. A signature shows whose key said it, not that it is true.",
                   statement_html(said_.asserted)) +
           section("Unknown", "What nobody can tell from this folder.", statement_html(said_.unknown)) +
           findings() + revisions() + trust() + ledger() + left_out() + by_hand();
  }

 private:
  Html title() const {
    return element(
        "header", element("p.kind", "Evidence"),
        element("h1", evidence_.job ? Html("Job ") + said(evidence_.job->facts.job) : Html("A job folder")),
        element("p.lead", evidence_.job ? said(evidence_.job->facts.controller) +
                                              Html(", opened " + evidence_.job->facts.opened.substr(0, 10))
                                        : Html("job.json says nothing: ") +
                                              said(evidence_.job_fault ? evidence_.job_fault->found : "")));
  }

  Html band() const {
    if (!evidence_.findings.empty()) {
      return verdict_band(Stance::kBad, counted(evidence_.findings.size(), "FINDING", "FINDINGS"),
                          "Something is not as it should be. What holds is told apart from what does not.",
                          Html());
    }
    return verdict_band(evidence_.root_stated ? Stance::kGood : Stance::kSealOnly, "ALL FILES HOLD",
                        evidence_.root_stated
                            ? "Under the root key whose fingerprint was stated. No opinion on any cause."
                            : "Under a root key whose fingerprint nobody stated. No opinion on any cause.",
                        Html());
  }

  Html findings() const {
    Html out;
    for (const Finding& finding : evidence_.findings) {
      out += warning(
          said(finding.text) +
          element("span.quiet.under", said(std::string(info(finding.code).name) + ", job/" + finding.path)));
    }
    return out.empty() ? out : section("Findings", "docs/audit.md of calseal explains the codes.", out);
  }

  Html revisions() const {
    Table table("Bundles of this job",
                {{"file", false}, {"revision", true}, {"base", true}, {"state", false}, {"identity", false}});
    for (const FileFacts& facts : evidence_.record.files) {
      if (facts.kind != FileKind::kBundle) continue;
      const bool good = facts.revision && !facts.fault;
      table.add({said("job/" + facts.path), good ? number(facts.revision->revision) : Html("?"),
                 good ? number(facts.revision->base) : Html("?"),
                 Html(!good ? "does not hold: " + std::string(facts.fault ? code(facts.fault->reason) : "")
                      : facts.proof == Proof::kProved ? std::string("proved")
                      : facts.proof == Proof::kNoBase ? std::string("sealed; no base to prove it on")
                                                      : std::string("sealed")),
                 good ? calseal::code(digest_text(facts.revision->identity).substr(0, 16)) : Html()});
    }
    return table.empty() ? Html() : section("Bundles", Html(), table.html());
  }

  Html trust() const {
    Html out;
    for (const TrustVersion& version : evidence_.versions) {
      Table table("Keys of trust file version " + std::to_string(version.trust.version), {{"key", false},
                                                                                          {"whose", false},
                                                                                          {"roles", false},
                                                                                          {"from", false},
                                                                                          {"until", false},
                                                                                          {"state", false}});
      for (const TrustedKey& key : version.trust.keys) {
        std::string roles;
        for (const Role role : key.roles) roles += (roles.empty() ? "" : ", ") + std::string(role_name(role));
        table.add({calseal::code(digest_text(key.id).substr(0, 16)), said(key.name), Html(roles),
                   Html(key.valid_from.substr(0, 10)), Html(key.valid_until.substr(0, 10)),
                   Html(key.compromised ? "compromised" : "active")});
      }
      out += element("p", "Version " + std::to_string(version.trust.version) + ", claimed " +
                              version.trust.claimed_time + ": " + version.file) +
             table.html();
    }
    Facts root;
    root.add("root key", calseal::code(digest_text(compute_key_id(evidence_.chain.trust.root))));
    root.add("aloud", Html(spoken_code(Spoken::kKey, compute_key_id(evidence_.chain.trust.root))));
    root.add("stated", Html(evidence_.root_stated ? "yes, and it is this one" : "by nobody"));
    return section("Keys over time", "Which key counted for what, by each trust file that was given.",
                   root.html() + out);
  }

  Html ledger() const {
    if (!evidence_.ledger) return {};
    Table table(
        "Entries about this job",
        {{"entry", false}, {"what", false}, {"claimed", false}, {"witnessed", false}, {"words", false}});
    for (std::size_t i = 0; i < evidence_.ledger->entries.size() && i < kMostStatements; ++i) {
      const EvidenceEntry& entry = evidence_.ledger->entries[i];
      table.add({number(entry.index),
                 Html(std::string(entry_kind_name(entry.facts.kind)) + ", " + subject_text(entry.facts)),
                 Html(entry.facts.claimed_time),
                 Html(entry.witnessed.by == Witness::kNobody
                          ? std::string("by nobody yet")
                          : entry.witnessed.time + ", " + std::string(witness_name(entry.witnessed.by))),
                 said(entry.facts.words)});
    }
    return section("The ledger",
                   "Claimed times are the shop's word; witnessed ones come from heads and time stamps.",
                   table.empty() ? element("p", "No entry is about this job.") : table.html());
  }

  Html left_out() const {
    if (evidence_.left_out.empty()) return {};
    Html items;
    for (const std::string& path : evidence_.left_out) items += element("li", said(path));
    return section("Left out",
                   evidence_.salt_left_out
                       ? "The job's salt makes VINs testable and goes along only when it is asked for."
                       : "",
                   element("ul", items));
  }

  static Html by_hand() {
    return section(
        "Verify it yourself", Html(),
        element("p",
                "VERIFY.txt holds the commands: sha256sum, openssl and python3 are enough. SHA256SUMS lists "
                "every other file; write down its own digest on the day that you receive the folder."));
  }

  const JobEvidence& evidence_;
  Statements said_;
};

}  // namespace

std::string evidence_html(const JobEvidence& evidence, const std::string& tool) {
  const std::string title =
      evidence.job ? "Evidence: job " + evidence.job->facts.job : std::string("Evidence");
  // Proved and asserted stand apart on these pages; a edge says which it is under its headings.
  return html_document({title, tool, EvidencePage(evidence).body(),
                        PaperEdge{title, "",
                                  evidence.findings.empty() ? "verified, proved and claimed told apart"
                                                            : "FINDINGS, " + paper_state(false, false)}});
}

}  // namespace calseal
