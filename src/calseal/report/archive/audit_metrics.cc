#include <map>

#include "calseal/report/archive/audit_report.h"

namespace calseal {
namespace {

std::string gauge(std::string_view name, std::string_view help) {
  const std::string whole = "calseal_audit_" + std::string(name);
  return "# HELP " + whole + " " + std::string(help) + "\n# TYPE " + whole + " gauge\n";
}

std::string sample(std::string_view name, std::string_view labels, std::uint64_t value) {
  return "calseal_audit_" + std::string(name) + std::string(labels) + " " + std::to_string(value) + "\n";
}

std::string lone(std::string_view name, std::string_view help, std::uint64_t value) {
  return gauge(name, help) + sample(name, "", value);
}

}  // namespace

std::string audit_metrics(const Judgement& judgement) {
  std::map<FindingCode, std::uint64_t> by_code;
  std::uint64_t is_new = 0;
  for (const Finding& finding : judgement.findings) {
    if (finding.age == FindingAge::kGone) continue;
    ++by_code[finding.code];
    is_new += finding.age == FindingAge::kNew && finding.severity() != Severity::kNote ? 1 : 0;
  }
  std::string text =
      lone("clean", "1: whole, without errors and warnings.", judgement.clean() ? 1 : 0) +
      lone("whole", "1: every file was looked at.", judgement.whole ? 1 : 0) +
      lone("proves_confinement", "1: depth proved.", judgement.scope.depth == Depth::kProved ? 1 : 0) +
      lone("files", "Files of the archive.", judgement.scope.files) +
      lone("bytes", "Bytes in all of them.", judgement.scope.bytes) +
      lone("bundles", "Bundles that were looked at.", judgement.bundles) +
      lone("images_proved", "Images that were rebuilt and proved.", judgement.proved) +
      lone("ledgers", "Ledgers that were read.", judgement.ledgers) +
      gauge("findings", "Findings by severity.");
  for (const Severity severity : {Severity::kError, Severity::kWarning, Severity::kNote})
    text += sample("findings", "{severity=\"" + std::string(severity_name(severity)) + "\"}",
                   judgement.count(severity));
  text += gauge("findings_by_code", "Findings by code; codes without any are left out.");
  for (const auto& [code, count] : by_code)
    text += sample("findings_by_code", "{code=\"" + std::string(info(code).name) + "\"}", count);
  if (judgement.compared)
    text += lone("findings_new", "Errors and warnings that the earlier audit did not have.", is_new);
  return text;
}

}  // namespace calseal
