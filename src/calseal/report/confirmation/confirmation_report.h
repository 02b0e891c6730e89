// What was found in the controller after the write, for people and for programs.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/check/confirm.h"
#include "calseal/report/verdict/verdict_report.h"

namespace calseal {

// "confirmed", "refused", or "unproved" when nothing was given that can be compared.
std::string_view confirmation_word(const Confirmation& confirmation);

inline constexpr std::size_t kConfirmationColumn = 14;  // where values start

// Lines of at most about 100 columns where texts allow it, ending with a line end.
std::string confirmation_text(const Confirmation& confirmation, const Emphasise& emphasise);

// {"calseal":"confirm/1", ...}; docs/json-output.md.
JsonValue confirmation_json(const Confirmation& confirmation);

// What a grade of proof does show, and what it leaves open.
std::string_view grade_proves(ProofGrade grade);
std::string_view grade_leaves_open(ProofGrade grade);

// What to mind after a controller was written: common practice, no source.
const std::vector<std::string>& after_writing_cautions(bool confirmed);

}  // namespace calseal
