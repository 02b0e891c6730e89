// A job as evidence, told three ways: for a person, for a stranger with a shell, and for a program. What is
// proved, what is only said, and what nobody can know from it; never an opinion on a cause.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/evidence/evidence.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// One sentence, and how it is known or who said it.
struct EvidenceStatement {
  std::string what;
  std::string by;
  friend bool operator==(const EvidenceStatement&, const EvidenceStatement&) = default;
};

struct Statements {
  std::vector<EvidenceStatement> proved;    // from bytes; VERIFY.txt redoes it without calseal
  std::vector<EvidenceStatement> asserted;  // said by somebody, signed or not
  std::vector<EvidenceStatement> unknown;   // what this folder cannot tell
};
Statements statements_of(const JobEvidence& evidence);

std::string evidence_readme(const JobEvidence& evidence);  // README.txt
// VERIFY.txt: lines that begin with "$ " are for a shell, in that order, in one session, in the folder.
std::string evidence_by_hand(const JobEvidence& evidence);
std::string evidence_html(const JobEvidence& evidence, const std::string& tool);  // evidence.html
JsonValue evidence_json(const JobEvidence& evidence);                             // evidence.json: evidence/1
std::string evidence_text(const JobEvidence& evidence, const Page& page);         // for a terminal

}  // namespace calseal
