// What the reports of evidence have in common, of one controller or of a vehicle.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/job/job_set.h"
#include "calseal/report/evidence/evidence_report.h"
#include "calseal/report/html/markup.h"

namespace calseal {

inline constexpr std::size_t kMostStatements = 2000;  // of one list on a page

std::string filled(std::string_view text);  // lines of a text file
std::string statement_list(const std::vector<EvidenceStatement>& statements);
std::string finding_list(const std::vector<Finding>& findings);
std::string labelled_findings(const std::vector<Finding>& findings, const Page& page);
JsonValue statements_json(const std::vector<EvidenceStatement>& statements);
JsonValue findings_json(const std::vector<Finding>& findings);

Html statement_html(const std::vector<EvidenceStatement>& statements);
Html evidence_cautions();

std::string set_name(const JobSet& set);     // "The set of engine revision 1, transmission revision 1"
std::string order_words(const JobSet& set);  // "engine, then transmission; the vehicle must not be ..."

// Bundles in the folder of a controller that hold, or that do not.
std::uint64_t count_bundles(const JobEvidence& evidence, bool good);

}  // namespace calseal
