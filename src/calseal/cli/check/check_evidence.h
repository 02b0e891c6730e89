// What a person has for the judgement of a bundle, as options of a command.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/check.h"
#include "calseal/cli/console/command_line.h"

namespace calseal {

struct CheckEvidence {
  std::string bundle, trust, root, salt, vehicle, state, withdrawals, job_list, inclusion, newest,
      ledger_head;
  std::vector<std::string> reads, successions, partners;
  bool fresh = false, revive = false, seal_only = false, declared_return = false, old_base = false,
       clock_is_right = false;
};

// The options that fill the above; bundle, state and seal_only are the command's own. `evidence` must live as
// long as the command.
void add_check_evidence(CommandLine& app, CheckEvidence& evidence);

// Every file that was named, loaded once.
Result<CheckRequest> load_check_request(const CheckEvidence& evidence);

// The files that were named, --state apart: no output may be one of them.
std::vector<std::string> evidence_paths(const CheckEvidence& evidence);

}  // namespace calseal
