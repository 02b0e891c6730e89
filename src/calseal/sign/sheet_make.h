// A sheet made from option files and what the shop writes by hand, and signed.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/option/option_file.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/sheet.h"

namespace calseal {

// What the files offer, ascending by name: of each option what people read, and no bytes. kSheetInvalid where
// files of one name do not agree in all but controller, region map and edits.
Result<std::vector<SheetOption>> offered_options(const std::vector<OptionFile>& files);

// Questions, reads and cautions as a person writes them: strict JSON, json-* where it is none.
Result<SheetQuestions> parse_sheet_questions(ByteView text, const std::string& name);

// The text of a sheet file. kUsage as from sign_statement(); read back through parse_sheet(): whatever that
// refuses comes back as an error.
Result<std::string> seal_sheet(const Sheet& sheet, const SigningKeys& keys, const TrustFile& trust);

}  // namespace calseal
