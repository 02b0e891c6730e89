// What a ledger says, and what was found in it, for people and for programs.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/ledger/ledger.h"
#include "calseal/report/layout/page.h"

namespace calseal {

std::string ledger_report_text(const LedgerReport& report, bool signatures_judged, const Page& page);
JsonValue ledger_report_json(const LedgerReport& report,
                             bool signatures_judged);  // {"calseal":"ledger-verify/1",...}

JsonValue ledger_finding_json(
    const LedgerFinding& finding);  // {"code","caution","file","entry","last_entry","text","next"}
JsonValue tree_head_json(const TreeHead& head);    // {"size","root_hash"}
std::string tree_head_text(const TreeHead& head);  // "412 entries, 5dc9..."

// One entry as a line for people: index, time, kind, what it is about.
std::string ledger_record_text(const LedgerRecord& record, const LedgerReport::Time& time);
JsonValue ledger_record_json(const LedgerRecord& record, const LedgerReport::Time& time);

}  // namespace calseal
