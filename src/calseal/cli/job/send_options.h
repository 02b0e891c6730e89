// What `calseal job send` is asked for.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"

namespace calseal {

struct SendOptions : JobFolderOptions, JobSigningOptions, LedgerKeyOptions {
  std::string title, notes_file, expires, unaccounted, limits, set, option_folder;
  std::vector<std::string> edited, write_order, option_files, requirements, cautions, attachments, returns,
      roles, fuel, hardware, parents, without;
  bool no_options = false, as_received = false, drivable_between = false, unchanged = false;
};
void add_send_options(CommandLine& command, SendOptions& options);

// Name and reason of each option that --without leaves out; kUsage.
Result<std::vector<std::pair<std::string, std::string>>> left_out(const SendOptions& options);

}  // namespace calseal
