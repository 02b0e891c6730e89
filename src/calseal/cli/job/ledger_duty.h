// What every command of the job folder owes to the job's ledger, after its own work stands.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/job/ledger_link.h"
#include "calseal/report/layout/page.h"

namespace calseal {

struct LedgerKeyOptions {
  std::string ledger_key;  // private key with the role ledger; empty: no new head is signed
};
void add_ledger_key_option(CommandLine& command, LedgerKeyOptions& options);

struct LedgerDuty {
  std::string key, passphrase_file;
  const TrustFile* trust = nullptr;
  UtcTime now;
  std::string bundle;  // that a head is put beside; empty: none
};

// Nothing when the job reports to no ledger (kUsage when a key was given all the same).
Result<std::optional<EnteredJob>> do_ledger_duty(const Job& job, const LedgerDuty& duty);

// Empty, and no member, when there is no ledger.
std::string ledger_duty_text(const std::optional<EnteredJob>& entered, const Page& page);
void add_ledger_duty(JsonValue& value, const std::optional<EnteredJob>& entered);

}  // namespace calseal
