#include "calseal/report/evidence/statement_parts.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/html/parts.h"

namespace calseal {

std::string filled(std::string_view text) {
  std::string lines;
  for (const std::string& line : wrap_words(text, 100)) lines += line + "\n";
  return lines;
}

std::string statement_list(const std::vector<EvidenceStatement>& statements) {
  std::string text;
  for (const EvidenceStatement& statement : statements) {
    const std::string whole = statement.what + (statement.by.empty() ? "" : " [" + statement.by + "]");
    bool first = true;
    for (const std::string& line : wrap_words(whole, 96)) {
      text += (first ? "- " : "  ") + line + "\n";
      first = false;
    }
  }
  return text.empty() ? "Nothing.\n" : text;
}

std::string finding_list(const std::vector<Finding>& findings) {
  std::string text;
  for (const Finding& finding : findings) {
    text += "- " + std::string(info(finding.code).name) + "  job/" + printable(finding.path) + "\n" + "  " +
            printable(finding.text, 400) + "\n";
  }
  return text;
}

std::string labelled_findings(const std::vector<Finding>& findings, const Page& page) {
  std::string text;
  for (const Finding& finding : findings) {
    text += labelled(page, "finding",
                     std::string(info(finding.code).name) + " job/" + printable(finding.path, 1000) + ": " +
                         printable(finding.text, 400),
                     Mark::kBad);
  }
  return text;
}

JsonValue statements_json(const std::vector<EvidenceStatement>& statements) {
  return json_array(statements, [](const EvidenceStatement& statement) {
    return json_object({{"what", json(statement.what)}, {"by", json(statement.by)}});
  });
}

JsonValue findings_json(const std::vector<Finding>& findings) {
  return json_array(findings, [](const Finding& finding) {
    return json_object({{"code", json(info(finding.code).name)},
                        {"file", json("job/" + printable(finding.path, 16384))},
                        {"text", json(finding.text)}});
  });
}

Html statement_html(const std::vector<EvidenceStatement>& statements) {
  Html items;
  for (std::size_t i = 0; i < statements.size() && i < kMostStatements; ++i) {
    items += element("li", said(statements[i].what),
                     statements[i].by.empty() ? Html() : element("span.quiet.under", said(statements[i].by)));
  }
  if (statements.size() > kMostStatements)
    items += element("li", grouped(statements.size() - kMostStatements) + " more in README.txt");
  return statements.empty() ? element("p", "Nothing.") : element("ul", items);
}

Html evidence_cautions() {
  return section("Cautions", Html(),
                 warning("For looking, not for writing into a vehicle: files in this folder may be "
                         "withdrawn, damaged or meant for another one.") +
                     warning("Reads and revisions 0 may hold the VIN and what a vehicle has learned; notes "
                             "may name people. Hand it on only to whom the law lets you."));
}

std::uint64_t count_bundles(const JobEvidence& evidence, bool good) {
  return static_cast<std::uint64_t>(std::ranges::count_if(evidence.record.files, [&](const FileFacts& facts) {
    return facts.kind == FileKind::kBundle && (facts.revision && !facts.fault) == good;
  }));
}

}  // namespace calseal
