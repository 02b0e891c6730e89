#include <map>

#include "calseal/archive/path_text.h"
#include "calseal/base/text.h"
#include "calseal/report/archive/audit_report.h"

namespace calseal {
namespace {

constexpr std::size_t kPathLimit = 16384;  // bytes

std::string heading(const Judgement& judgement) {
  std::string text = "Audit of ";
  for (const std::string& folder : judgement.scope.folders)
    text += (&folder == &judgement.scope.folders.front() ? "" : ", ") + printable(folder, kPathLimit);
  return text + "\n\n";
}

std::string summary(const Judgement& judgement, const Page& page) {
  const AuditScope& scope = judgement.scope;
  std::string text = labelled(
      page, "looked at",
      counted(judgement.looked_at, "file", "files") + " of " + grouped(scope.files) + ", " +
          bytes_text(scope.bytes) + " in all; " + counted(judgement.bundles, "bundle", "bundles") + " of " +
          counted(judgement.jobs, "job", "jobs") + "; " + counted(judgement.ledgers, "ledger", "ledgers"));
  text +=
      scope.depth == Depth::kStored
          ? labelled(page, "depth",
                     "stored: containers, signatures and digests of stored bytes. This does NOT prove that "
                     "revisions stay within their areas: --depth proved does",
                     Mark::kCaution)
          : labelled(
                page, "depth",
                "proved: " + counted(judgement.proved, "image", "images") +
                    " rebuilt; confinement within the areas declared by their region maps, and checksums, "
                    "proved again from bytes");
  if (judgement.unproved_files != 0) {
    text += labelled(page, "by record",
                     counted(judgement.unproved_files, "file", "files") +
                         " that nothing else proves: only the record of an earlier audit tells "
                         "when they change (--record, --since)");
  }
  if (!judgement.whole) {
    text += labelled(page, "PARTIAL",
                     "the run was stopped: what was not looked at, and everything that only shows "
                     "between files, is not judged",
                     Mark::kBad);
  }
  return text;
}

Mark mark_of(const Finding& finding) {
  if (finding.age == FindingAge::kGone || finding.healed) return Mark::kGood;
  return finding.severity() == Severity::kError     ? Mark::kBad
         : finding.severity() == Severity::kWarning ? Mark::kCaution
                                                    : Mark::kDim;
}

std::string finding_text(const Finding& finding, const Page& page) {
  const std::string_view sign = finding.age == FindingAge::kGone           ? "-"
                                : finding.severity() == Severity::kError   ? "!"
                                : finding.severity() == Severity::kWarning ? "?"
                                                                           : " ";
  std::string text =
      "\n" + page.painted(mark_of(finding), std::string(sign) + " " +
                                                std::string(severity_name(finding.severity())) + " " +
                                                std::string(info(finding.code).name));
  if (finding.age != FindingAge::kNotCompared)
    text += "  (" + std::string(finding_age_name(finding.age)) + ")";
  if (!finding.path.empty()) text += "  " + printable(finding.path, kPathLimit);
  text += "\n";
  if (!finding.subject.empty()) text += labelled(page, "about", printable(finding.subject, kPathLimit));
  text += labelled(page, "found",
                   printable(finding.text, 400) +
                       (finding.fault ? " [" + std::string(code(finding.fault->reason)) + "]" : ""));
  if (finding.fault && !finding.fault->expected.empty())
    text += labelled(page, "expected", printable(finding.fault->expected, 400));
  text += labelled(page, "means", info(finding.code).meaning);
  if (finding.age == FindingAge::kGone) return text;
  if (finding.healed) {
    return text + labelled(page, "healed", "put back from " + printable(finding.copy, kPathLimit), Mark::kGood);
  }
  if (!finding.copy.empty()) {
    text += labelled(page, "good copy", printable(finding.copy, kPathLimit), Mark::kGood);
  }
  return text + labelled(page, "do", info(finding.code).next);
}

std::string verdict(const Judgement& judgement, const Page& page) {
  std::map<FindingAge, std::uint64_t> ages;
  for (const Finding& finding : judgement.findings) ++ages[finding.age];
  std::string text = "\n";
  if (judgement.clean()) {
    text += page.painted(Mark::kGood, "Clean.");
  } else {
    text += page.painted(Mark::kBad, counted(judgement.count(Severity::kError), "error", "errors") + ", " +
                                         counted(judgement.count(Severity::kWarning), "warning", "warnings") +
                                         ".");
  }
  if (const std::uint64_t notes = judgement.count(Severity::kNote); notes != 0)
    text += " " + counted(notes, "note", "notes") + ".";
  if (judgement.compared) {
    text += " Compared with the earlier audit: " + std::to_string(ages[FindingAge::kNew]) + " new, " +
            std::to_string(ages[FindingAge::kStill]) + " still there, " +
            std::to_string(ages[FindingAge::kGone]) + " gone.";
  }
  return text + "\n";
}

}  // namespace

std::string audit_text(const Judgement& judgement, const Page& page, std::size_t limit) {
  std::string text = heading(judgement) + summary(judgement, page);
  std::size_t shown = 0;
  std::size_t left = 0;
  for (const Finding& finding : judgement.findings) {
    if (limit != 0 && shown == limit) {
      ++left;
      continue;
    }
    text += finding_text(finding, page);
    ++shown;
  }
  if (left != 0)
    text += "\nand " + counted(left, "finding", "findings") + " more: --report FILE has them all\n";
  return text + verdict(judgement, page);
}

std::string findings_text(const Page& page) {
  Columns columns;
  columns.add(
      {{"code", Mark::kDim}, {"severity", Mark::kDim}, {"what it means, and what to do", Mark::kDim}});
  for (const FindingInfo& row : all_findings()) {
    columns.add(
        {{std::string(row.name)}, {std::string(severity_name(row.severity))}, {std::string(row.meaning)}});
    columns.add({{""}, {""}, {std::string(row.next), Mark::kDim}});
  }
  return columns.text(page, 0);
}

}  // namespace calseal
