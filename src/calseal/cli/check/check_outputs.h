// What `calseal-check` writes once there is a verdict: the image, the state, and what is said back to the
// shop.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/check/check.h"
#include "calseal/cli/check/check_evidence.h"
#include "calseal/cli/check/customer_in_check.h"

namespace calseal {

struct CheckOptions : CheckEvidence {
  std::string receipt, receipt_key, customer;
  std::vector<std::string> images;
  bool receipt_code = false;
};

// What the customer says back to the shop.
struct SaidBack {
  std::string text;
  JsonValue value;
};
// The state comes last: until the files are durable nothing was accepted.
Status write_outputs(const CheckOptions& options, const Verdict& verdict);

// The customer file and the receipt that it signs, where one was given.
Result<SaidBack> write_customer(const CheckOptions& options, CustomerInCheck& customer,
                                const Verdict& verdict, const std::optional<Bytes>& salt, UtcTime now);

// Written once everything else stands; a refusal of a bundle whose manifest was read has its receipt too.
Result<SaidBack> say_back(const CheckOptions& options, const Verdict& verdict,
                          const std::optional<Bytes>& salt, UtcTime now);

// kUsage when options ask for what does not go together.
Status judge_check_options(const CheckOptions& options);

}  // namespace calseal
