#include "calseal/cli/job/ledger_duty.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/report/ledger/ledger_report.h"

namespace calseal {

void add_ledger_key_option(CommandLine& command, LedgerKeyOptions& options) {
  command.add_option("--ledger-key", options.ledger_key,
                     "Private key with the role ledger: sign a new head, and put it beside the bundle");
}

Result<std::optional<EnteredJob>> do_ledger_duty(const Job& job, const LedgerDuty& duty) {
  CALSEAL_ASSIGN(std::optional<EnteredJob> entered, enter_job(job));
  if (!entered) {
    if (duty.key.empty()) return entered;
    return fail(usage_error("--ledger-key", "a job that reports to no ledger", "a job with a ledger",
                            "calseal job ledger names it; the revision is sealed and kept"));
  }
  if (duty.bundle.empty()) return entered;
  std::vector<PrivateKey> keys;
  SigningKeys pointers;
  HeadSigning signing;
  if (!duty.key.empty()) {
    CALSEAL_ASSIGN(keys, load_keys({duty.key}, duty.passphrase_file));
    pointers = SigningKeys(keys.begin(), keys.end());
    signing = {&pointers, duty.trust, duty.now};
  }
  CALSEAL_CHECK(place_head(job, duty.bundle, signing, *entered));
  return entered;
}

std::string ledger_duty_text(const std::optional<EnteredJob>& entered, const Page& page) {
  if (!entered) return {};
  std::string text = labelled(
      page, "ledger", counted(entered->added, "entry", "entries") + " new, " + tree_head_text(entered->head));
  if (!entered->head_file.empty() && !entered->head_is_new)
    text += labelled(page, "caution",
                     "the head beside the bundle is the newest signed one; --ledger-key signs a new one",
                     Mark::kCaution);
  return text;
}

void add_ledger_duty(JsonValue& value, const std::optional<EnteredJob>& entered) {
  if (!entered) return;
  value.members.emplace_back("ledger", json_object({{"added", json(entered->added)},
                                                    {"was_there", json(entered->was_there)},
                                                    {"head", tree_head_json(entered->head)},
                                                    {"head_file", json(entered->head_file)},
                                                    {"head_is_new", json(entered->head_is_new)}}));
}

}  // namespace calseal
