#include <algorithm>

#include "calseal/archive/finding_json.h"
#include "calseal/archive/path_text.h"
#include "calseal/base/text.h"
#include "calseal/report/archive/audit_report.h"

namespace calseal {
namespace {

// RFC 4180: quotes are doubled, everything else stands as it is. A spreadsheet takes what begins like a
// formula for one, whatever its quotes: an apostrophe before it makes it text.
std::string quoted(std::string_view field) {
  std::string text = "\"";
  if (!field.empty() && std::string_view("=+-@\t\r").find(field.front()) != std::string_view::npos)
    text += '\'';
  for (const char c : field) text += c == '"' ? std::string("\"\"") : std::string(1, c);
  return text + "\"";
}

std::string csv_line(const std::vector<std::string>& fields) {
  std::string line;
  for (const std::string& field : fields) line += (line.empty() ? "" : ",") + quoted(field);
  return line + "\r\n";
}

// XML 1.0 section 2.2: characters that it does not have become question marks; markup is escaped.
std::string xml_text(std::string_view text) {
  std::string out;
  const std::string whole = is_utf8(text) ? std::string(text) : printable(text, 65536);
  for (std::size_t i = 0; i < whole.size(); ++i) {
    const auto byte = static_cast<unsigned char>(whole[i]);
    const std::string_view rest = std::string_view(whole).substr(i);
    if (rest.starts_with("\xef\xbf\xbe") || rest.starts_with("\xef\xbf\xbf")) {  // U+FFFE, U+FFFF
      out += '?';
      i += 2;
    } else if (byte < 0x20 && byte != '\n' && byte != '\t') {
      out += '?';
    } else if (whole[i] == '&') {
      out += "&amp;";
    } else if (whole[i] == '<') {
      out += "&lt;";
    } else if (whole[i] == '>') {
      out += "&gt;";
    } else if (whole[i] == '"') {
      out += "&quot;";
    } else if (whole[i] == '\n' || whole[i] == '\t') {
      out += whole[i] == '\n' ? "&#10;" : "&#9;";
    } else {
      out += whole[i];
    }
  }
  return out;
}

std::string attribute(std::string_view name, std::string_view value) {
  return " " + std::string(name) + "=\"" + xml_text(value) + "\"";
}

std::string failure_message(const Finding& finding) {
  std::string text = finding.text;
  if (finding.fault) text += " [" + std::string(code(finding.fault->reason)) + "]";
  return text;
}

std::string test_case(const FindingInfo& row, const std::string& name, const std::string& inside) {
  return "    <testcase" + attribute("classname", "calseal.audit." + std::string(row.name)) +
         attribute("name", name) + (inside.empty() ? "/>\n" : ">\n" + inside + "    </testcase>\n");
}

std::string case_name(const Finding& finding) {
  const std::string name = path_text(finding.path) +
                           (finding.path.empty() || finding.subject.empty() ? "" : ": ") + finding.subject;
  return name.empty() ? std::string(info(finding.code).name) : name;
}

}  // namespace

std::string audit_json_lines(const Judgement& judgement) {
  std::string text = shown_json(judgement_json(judgement, false)) + "\n";
  for (const Finding& finding : judgement.findings) text += shown_json(finding_json(finding)) + "\n";
  return text;
}

std::string audit_csv(const Judgement& judgement) {
  std::string text = csv_line({"code", "severity", "age", "path", "subject", "text", "reason", "place",
                               "found", "expected", "next", "copy", "healed"});
  for (const Finding& finding : judgement.findings) {
    const Error fault = finding.fault.value_or(Error());
    text += csv_line({std::string(info(finding.code).name), std::string(severity_name(finding.severity())),
                      std::string(finding_age_name(finding.age)), path_text(finding.path), finding.subject,
                      finding.text, finding.fault ? std::string(code(fault.reason)) : std::string(),
                      fault.place, fault.found, fault.expected, std::string(info(finding.code).next),
                      path_text(finding.copy), finding.healed ? "yes" : "no"});
  }
  return text;
}

std::string audit_junit(const Judgement& judgement) {
  std::string cases;
  std::uint64_t tests = 0;
  std::uint64_t failures = 0;
  for (const FindingInfo& row : all_findings()) {
    bool any = false;
    for (const Finding& finding : judgement.findings) {
      if (finding.code != row.code || finding.age == FindingAge::kGone) continue;
      any = true;
      ++tests;
      const std::string message = failure_message(finding);
      std::string inside = "      <system-out>" + xml_text(message) + "</system-out>\n";
      if (row.severity != Severity::kNote) {
        ++failures;
        inside = "      <failure" + attribute("message", message) +
                 attribute("type", severity_name(row.severity)) + ">" +
                 xml_text(std::string(row.meaning) + " " + std::string(row.next)) + "</failure>\n";
      }
      cases += test_case(row, case_name(finding), inside);
    }
    if (any) continue;
    ++tests;
    cases += test_case(row, std::string(row.name), "");
  }
  if (!judgement.whole) {
    ++tests;
    ++failures;
    cases +=
        "    <testcase classname=\"calseal.audit\" name=\"whole\">\n      <failure message=\"the run was "
        "stopped\" type=\"error\">Not every file was looked at.</failure>\n    </testcase>\n";
  }
  std::string name = "calseal audit";
  for (const std::string& folder : judgement.scope.folders) name += " " + path_text(folder);
  name += ", depth " + std::string(depth_name(judgement.scope.depth));
  const std::string counts = attribute("tests", std::to_string(tests)) +
                             attribute("failures", std::to_string(failures)) + attribute("errors", "0");
  return "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites" + counts + ">\n  <testsuite" +
         attribute("name", name) + counts + attribute("skipped", "0") + ">\n" + cases +
         "  </testsuite>\n</testsuites>\n";
}

std::optional<ReportFormat> report_format_of(std::string_view path) {
  if (path.ends_with(".txt")) return ReportFormat::kText;
  if (path.ends_with(".jsonl")) return ReportFormat::kJsonLines;
  if (path.ends_with(".csv")) return ReportFormat::kCsv;
  if (path.ends_with(".xml")) return ReportFormat::kJunit;
  if (path.ends_with(".prom")) return ReportFormat::kMetrics;
  return std::nullopt;
}

std::string audit_report(const Judgement& judgement, ReportFormat format) {
  switch (format) {
    case ReportFormat::kText:
      return audit_text(judgement, Page{}, 0);
    case ReportFormat::kJsonLines:
      return audit_json_lines(judgement);
    case ReportFormat::kCsv:
      return audit_csv(judgement);
    case ReportFormat::kJunit:
      return audit_junit(judgement);
    case ReportFormat::kMetrics:
      return audit_metrics(judgement);
  }
  return {};
}

std::string findings_markdown() {
  std::string text = "| code | severity | what it means | what to do |\n| --- | --- | --- | --- |\n";
  for (const FindingInfo& row : all_findings()) {
    text += "| `" + std::string(row.name) + "` | " + std::string(severity_name(row.severity)) + " | " +
            std::string(row.meaning) + " | " + std::string(row.next) + " |\n";
  }
  return text;
}

}  // namespace calseal
