#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/statement_options.h"
#include "calseal/job/shop_of_job.h"

namespace calseal {

ShopLook look_from_job() { return {"FOLDER", Together::kEachAlone, shop_of_job}; }

void add_job_signing_options(CommandLine& command, JobSigningOptions& options, bool required,
                             const std::vector<ShopDefault>& more, ShopLook look) {
  auto* key = command.add_option("--key", options.keys, "Private key that signs (repeatable)")->takes("FILE");
  auto* trust =
      command
          .add_option("--trust", options.trust, "The shop's trust file, for the customer's check at the end")
          ->takes("FILE");
  key->required(required);
  trust->required(required);
  command.add_option("--passphrase-file", options.passphrase_file, "First line: passphrase of the keys")
      ->takes("FILE");
  command
      .add_option("--claimed-time", options.time,
                  "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  add_approval_option(command, options.approvals);
  std::vector<ShopDefault> defaults{kAuthorKeys, kShopTrust};
  defaults.insert(defaults.end(), more.begin(), more.end());
  look.together = required ? Together::kEachAlone : Together::kAllOrNone;
  add_shop_option(command, defaults, look);
}

Result<std::unique_ptr<LoadedSigning>> load_signing(const JobSigningOptions& options,
                                                    const LedgerKeyOptions& ledger, const std::string& tool) {
  auto loaded = std::make_unique<LoadedSigning>();
  CALSEAL_ASSIGN(loaded->trust, load_trust(options.trust));
  CALSEAL_ASSIGN(loaded->signing.now, stated_time(options.time));
  loaded->keys = std::make_unique<KeysOnDemand>(options.keys, options.passphrase_file);
  loaded->ledger_keys = std::make_unique<KeysOnDemand>(ledger.key_files(), options.passphrase_file);
  loaded->signing.keys = [keys = loaded->keys.get(),
                          heads = loaded->ledger_keys.get()]() -> Result<SigningKeys> {
    CALSEAL_ASSIGN(SigningKeys opened, keys->open());
    CALSEAL_CHECK(heads->open());
    return opened;
  };
  loaded->signing.trust = &loaded->trust.trust;
  loaded->signing.trust_file = {printable(options.trust),
                                Bytes(loaded->trust.text.begin(), loaded->trust.text.end())};
  loaded->signing.tool = tool;
  CALSEAL_ASSIGN(loaded->signing.approvals, load_approvals(options.approvals));
  return loaded;
}

LedgerDuty ledger_duty(const LoadedSigning& loaded) {
  return {loaded.ledger_keys.get(), loaded.signing.trust, loaded.signing.now, {}, ""};
}

Result<std::unique_ptr<LoadedContext>> load_context(const std::string& trust, const std::string& list) {
  auto loaded = std::make_unique<LoadedContext>();
  if (!trust.empty()) {
    CALSEAL_ASSIGN(loaded->trust, load_trust(trust));
    loaded->context.trust = &loaded->trust.trust;
  }
  if (!list.empty()) {
    if (trust.empty())
      return fail(usage_error("--withdrawals", "a list without a trust file", "--trust beside it",
                              "give the shop's trust file"));
    CALSEAL_ASSIGN(const Bytes bytes, read_file(list, kWithdrawalSizeLimit));
    CALSEAL_ASSIGN(loaded->withdrawals, parse_withdrawals(bytes, loaded->trust.trust, printable(list)));
    loaded->context.withdrawals = &loaded->withdrawals;
  }
  return loaded;
}

void add_job_command(CommandLine& app, Console& console, const std::string& tool, int& status) {
  CommandLine* job =
      app.add_subcommand("job", "The job folder: the daily loop, where a job stands, what comes next");
  job->require_subcommand();
  add_job_new_command(*job, console, tool, status);
  add_job_add_command(*job, console, tool, status);
  add_job_list_command(*job, console, tool, status);
  add_job_status_command(*job, console, status);
  add_job_next_command(*job, console, status);
  add_job_send_command(*job, console, tool, status);
  add_job_handover_command(*job, console, status);
  add_job_note_command(*job, console, status);
  add_job_regions_command(*job, console, status);
  add_job_ledger_command(*job, console, status);
  add_job_log_command(*job, console, status);
  add_job_reissue_command(*job, console, tool, status);
  add_job_carry_command(*job, console, tool, status);
  for (const char* look : {"status", "next"})
    add_shop_option(*job->subcommand(look), {kShopTrust, kShopWithdrawals}, look_from_job());
  add_shop_option(*job->subcommand("ledger"), {kShopTrust, kShopHeadKey}, look_from_job());
}

}  // namespace calseal
