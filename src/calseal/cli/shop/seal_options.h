// What `calseal seal` is told.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"

namespace calseal {

struct SealOptions {
  std::string regions, base_bundle, parent, job, base_reason, title, notes_file, vehicle, salt, new_salt,
      trust, expires, set, passphrase_file, time, output, unaccounted, beyond_limits, payload = "areas",
                                                                                      packing = "deflated";
  std::vector<std::string> bases, images, keys, requirements, cautions, attachments, annotations, returns,
      roles, option_files, approvals;
  std::uint64_t base_number = 0, sequence = 0;
  bool correct = false, dry_run = false, account = false, as_received = false;
};

void add_seal_options(CommandLine& command, SealOptions& options);

}  // namespace calseal
