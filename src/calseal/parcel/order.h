// What a customer orders, held against the shop's sheet before a parcel is made. docs/sheet.md, "What a maker
// judges".
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/parcel/parcel.h"
#include "calseal/trust/sheet.h"

namespace calseal {

struct Order {
  std::vector<std::string> options;   // ascending, each once
  std::vector<ParcelAnswer> answers;  // in the order of the sheet
  std::vector<std::string> accepted;  // cautions
};

// Options and answers in the order in which a parcel lists them. kUsage for an option twice, or a question
// that the sheet does not ask or that is answered twice.
Result<Order> put_in_order(const Sheet& sheet, std::vector<std::string> options,
                           const std::vector<ParcelAnswer>& answers);

// What must be accepted for this order: the sheet's cautions, then those of the ordered options in their
// order, each once. Options that are not on the sheet are passed over.
std::vector<std::string> cautions_of(const Sheet& sheet, const std::vector<std::string>& options);

// In this order: every option is on the sheet (kUsage); every answer fits its question (kUsage); every
// required question is answered (kUsage); what the ordered options require is ordered or stated
// (kOptionRequires), and what they exclude is not (kOptionExcludes); exactly the cautions of this order are
// accepted (kUsage). Without a read and without an order, no question and no caution is required.
Status judge_order(const Sheet& sheet, const Order& order, bool brings_read);

}  // namespace calseal
