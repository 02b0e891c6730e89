#include "calseal/archive/finding_json.h"

#include <algorithm>

#include "calseal/archive/path_text.h"
#include "calseal/base/json_reader.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::size_t kTextLimit = 65536;  // bytes
constexpr std::size_t kFindingLimit = std::size_t{1} << 24;

Finding read_finding(const JsonNode& node) {
  JsonObject object(node);
  Finding finding;
  const std::string name = object.text("code", 64);
  const auto code = find_finding(name);
  if (!code) object.node().refuse(Reason::kJsonValue, printable(name), "a code of docs/audit.md");
  finding.code = code.value_or(FindingCode::kFileUnreadable);
  object.text("severity", 64);
  const std::string age = object.text("age", 64);
  if (age == finding_age_name(FindingAge::kGone)) finding.age = FindingAge::kGone;
  if (const auto path = object.required("path")) kPath.read(*path, finding.path);
  finding.subject = object.text("subject", kTextLimit);
  finding.text = object.text("text", kTextLimit);
  object.optional("fault");
  object.text("next", kTextLimit);
  object.text("copy", kTextLimit);
  object.boolean("healed");
  object.done();
  return finding;
}

}  // namespace

JsonValue finding_json(const Finding& finding) {
  JsonValue value = json_object({{"code", json(info(finding.code).name)},
                                 {"severity", json(severity_name(finding.severity()))},
                                 {"age", json(finding_age_name(finding.age))},
                                 {"path", json(path_text(finding.path))},
                                 {"subject", json(finding.subject)},
                                 {"text", json(finding.text)}});
  if (finding.fault) value.members.emplace_back("fault", json_error(*finding.fault));
  value.members.emplace_back("next", json(info(finding.code).next));
  value.members.emplace_back("copy", json(path_text(finding.copy)));
  value.members.emplace_back("healed", json(finding.healed));
  return value;
}

JsonValue judgement_json(const Judgement& judgement, bool findings) {
  const AuditScope& scope = judgement.scope;
  JsonValue value =
      json_object({{"calseal", json("audit/1")},
                   {"folders", json_array(scope.folders,
                                          [](const std::string& folder) { return json(path_text(folder)); })},
                   {"depth", json(depth_name(scope.depth))},
                   {"proves_confinement", json(scope.depth == Depth::kProved)},
                   {"whole", json(judgement.whole)},
                   {"clean", json(judgement.clean())},
                   {"files", json(scope.files)},
                   {"bytes", json(scope.bytes)},
                   {"looked_at", json(judgement.looked_at)},
                   {"bundles", json(judgement.bundles)},
                   {"proved", json(judgement.proved)},
                   {"jobs", json(judgement.jobs)},
                   {"ledgers", json(judgement.ledgers)},
                   {"unproved_files", json(judgement.unproved_files)},
                   {"compared", json(judgement.compared)},
                   {"errors", json(judgement.count(Severity::kError))},
                   {"warnings", json(judgement.count(Severity::kWarning))},
                   {"notes", json(judgement.count(Severity::kNote))}});
  if (findings) value.members.emplace_back("findings", json_array(judgement.findings, finding_json));
  return value;
}

Result<std::vector<Finding>> parse_audit_report(std::string_view text, const std::string& name) {
  std::vector<Finding> findings;
  bool first = true;
  std::uint64_t told = 0;  // findings that the first line counts
  const auto damaged = [](Error error) {
    error.reason = Reason::kAuditRecordInvalid;
    error.next = "give a report that calseal audit wrote as JSON lines, or the record of that audit";
    return fail(std::move(error));
  };
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    const std::string_view line = text.substr(at, end - at);
    at = end + 1;
    if (first && !line.starts_with(kAuditReportLiteral)) {
      return damaged({Reason::kAuditRecordInvalid, name, "line 1", printable(line.substr(0, 40)),
                      std::string(kAuditReportLiteral) + "...", ""});
    }
    const Result<JsonTree> tree = JsonTree::parse(line, name);
    if (!tree) return damaged(tree.error());
    JsonDocument document(line, name);
    const JsonNode root(document, *tree);
    JsonObject object(root);
    if (!first) {
      findings.push_back(read_finding(root));
    } else {
      for (const char* severity : {"errors", "warnings", "notes"})
        told += object.integer(severity, 0, kFindingLimit);
      if (object.has("findings")) {
        for (const JsonNode& node : object.items("findings", kFindingLimit))
          findings.push_back(read_finding(node));
      }
    }
    if (!document.ok()) return damaged(document.error());
    first = false;
  }
  const auto there = static_cast<std::uint64_t>(std::ranges::count_if(
      findings, [](const Finding& finding) { return finding.age != FindingAge::kGone; }));
  if (first || there != told) {
    return damaged({Reason::kAuditRecordInvalid, name, "end", std::to_string(there) + " findings",
                    first ? "a first line that says what was audited"
                          : "the " + std::to_string(told) + " that the first line counts",
                    ""});
  }
  return findings;
}

}  // namespace calseal
