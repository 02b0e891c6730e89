// What `calseal withdraw` is told.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/cli/shop/statement_options.h"

namespace calseal {

struct WithdrawOptions : StatementOptions {
  std::vector<std::string> bundles, revisions, where;
  std::string archive, job, controller, kind, go_to, text, after, after_trust, fresh_until;
  bool go_back = false, dry_run = false, rebuild = false, despite_unread = false;
  std::uint64_t number = 0, fresh_days = 90;
};

void add_withdraw_options(CommandLine& command, WithdrawOptions& options);

// kUsage when the options do not go together.
Status judge_withdraw_options(const WithdrawOptions& options);

}  // namespace calseal
