// Findings as programs read them, and read back to be compared with.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/archive/finding.h"
#include "calseal/archive/judge.h"
#include "calseal/base/json.h"
#include "calseal/base/result.h"

namespace calseal {

inline constexpr std::string_view kAuditReportLiteral = R"({"calseal":"audit/1",)";

// {"code","severity","age","path","subject","text","fault":{…},"next","copy","healed"}
JsonValue finding_json(const Finding& finding);
// What was audited and how much was found; with `findings` all of them inside: {"calseal":"audit/1",…}.
JsonValue judgement_json(const Judgement& judgement, bool findings);

// The findings of a report: either the one object of --json, or JSON lines. Texts, reasons and copies are
// left out; they do not count when findings are compared. kAuditRecordInvalid.
Result<std::vector<Finding>> parse_audit_report(std::string_view text, const std::string& name);

}  // namespace calseal
