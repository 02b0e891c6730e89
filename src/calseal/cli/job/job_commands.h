// The job folder on the command line: one file per command.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/job/job.h"
#include "calseal/job/open_base.h"

namespace calseal {

void add_job_command(CommandLine& app, Console& console, const std::string& tool,
                     int& status);  // job, with all that follow
void add_job_new_command(CommandLine& job, Console& console, const std::string& tool, int& status);
void add_job_add_command(CommandLine& job, Console& console, const std::string& tool, int& status);
void add_job_handover_command(CommandLine& job, Console& console, int& status);
void add_job_list_command(CommandLine& job, Console& console, const std::string& tool, int& status);
void add_job_status_command(CommandLine& job, Console& console, int& status);
void add_job_next_command(CommandLine& job, Console& console, int& status);
void add_job_send_command(CommandLine& job, Console& console, const std::string& tool, int& status);
void add_job_note_command(CommandLine& job, Console& console, int& status);
void add_job_regions_command(CommandLine& job, Console& console, int& status);
void add_job_ledger_command(CommandLine& job, Console& console, int& status);
void add_job_log_command(CommandLine& job, Console& console, int& status);
void add_job_reissue_command(CommandLine& job, Console& console, const std::string& tool, int& status);
void add_job_carry_command(CommandLine& job, Console& console, const std::string& tool, int& status);

// The shop file is looked for from FOLDER upwards; then the job may name it.
ShopLook look_from_job();

// Options of every command that seals.
struct JobSigningOptions {
  std::vector<std::string> keys, approvals;
  std::string trust, passphrase_file, time;
};
// `required`: a command that must sign; else all of them or none may be left out. `more`: what else the shop
// file stands in for.
void add_job_signing_options(CommandLine& command, JobSigningOptions& options, bool required,
                             const std::vector<ShopDefault>& more = {}, ShopLook look = look_from_job());

// Keys, to be opened when something is signed; trust file and time. `signing` points into it.
struct LoadedSigning {
  std::unique_ptr<KeysOnDemand> keys, ledger_keys;
  LoadedTrust trust;
  Signing signing;
};
// The ledger's key is opened along with the others, so that one that cannot be opened ends the command before
// anything is made.
Result<std::unique_ptr<LoadedSigning>> load_signing(const JobSigningOptions& options,
                                                    const LedgerKeyOptions& ledger, const std::string& tool);

// What is owed to the ledger after something was sealed; bundles and hand-over are still to be filled in.
LedgerDuty ledger_duty(const LoadedSigning& loaded);

// Trust file and list of withdrawals that a look at the folder is judged by; both names may be empty.
struct LoadedContext {
  LoadedTrust trust;
  WithdrawalList withdrawals;
  JobContext context;
};
Result<std::unique_ptr<LoadedContext>> load_context(const std::string& trust, const std::string& list);

}  // namespace calseal
