#include "calseal/cli/job/ledger_duty.h"

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/job/layout.h"
#include "calseal/report/ledger/ledger_report.h"

namespace calseal {
namespace {

constexpr std::string_view kHandedHead = "ledger.head";

Result<std::optional<EnteredJob>> enter_all(const VehicleJob& job) {
  std::optional<EnteredJob> all;
  for (const Job& one : job.controllers) {
    CALSEAL_ASSIGN(std::optional<EnteredJob> entered, enter_job(one));
    if (!entered) continue;
    if (all) {
      entered->added += all->added;
      entered->was_there += all->was_there;
    }
    all = std::move(entered);
  }
  return all;
}

// The newest head, or a new one, beside the bundles and with what is handed over.
Status place_heads(const VehicleJob& job, const LedgerDuty& duty, EnteredJob& entered) {
  SigningKeys keys;
  HeadSigning signing;
  if (duty.keys != nullptr) {
    CALSEAL_ASSIGN(keys, duty.keys->open());
    if (!keys.empty()) signing = {&keys, duty.trust, duty.now};
  }
  CALSEAL_ASSIGN(const std::string head, head_to_place(signing, entered));
  if (head.empty()) return {};
  std::vector<PendingFile> files;
  for (const std::string& bundle : duty.bundles)
    files.push_back({job.folder + "/" + head_beside(bundle), view_of(head)});
  if (!duty.handover.empty())
    files.push_back({job.folder + "/" + duty.handover + "/" + std::string(kHandedHead), view_of(head)});
  CALSEAL_CHECK(write_files(files));
  entered.head_file = head_beside(duty.bundles.front());
  return {};
}

// By a look that judges nothing: what is wrong with the folder or the link, the command says.
bool reports_to_ledger(const std::string& folder) {
  const Result<JobPlace> place = find_job(folder);
  const auto names = place ? names_in(place->folder) : Result<std::vector<std::string>>(fail(place.error()));
  return names && std::ranges::any_of(*names, [&](const std::string& name) {
           return exists(place->folder + "/" + name + "/" + std::string(kLedgerLinkFile));
         });
}

}  // namespace

void add_ledger_key_option(CommandLine& command, LedgerKeyOptions& options) {
  command
      .add_option("--ledger-key", options.ledger_key,
                  "Private key with the role ledger: sign a new head, and put it beside the bundle")
      ->takes("FILE");
}

ShopDefault head_key_of_job() {
  ShopDefault key = kShopHeadKey;
  key.wanted = reports_to_ledger;
  return key;
}

int LedgerOutcome::status() const { return failed ? exit_status(failed->reason) : 0; }

Status require_ledger(const VehicleJob& job, const LedgerKeyOptions& options) {
  if (options.ledger_key.empty()) return {};
  for (const Job& one : job.controllers) {
    CALSEAL_ASSIGN(const std::optional<std::string> ledger, linked_ledger(one.folder));
    if (ledger) return {};
  }
  return fail(usage_error("--ledger-key", "a job that reports to no ledger", "a job with a ledger",
                          "name it first: calseal job ledger FOLDER LEDGER"));
}

LedgerOutcome do_ledger_duty(const VehicleJob& job, const LedgerDuty& duty) {
  LedgerOutcome outcome;
  Result<std::optional<EnteredJob>> entered = enter_all(job);
  if (!entered) {
    outcome.failed = entered.error();
    return outcome;
  }
  outcome.entered = *std::move(entered);
  if (!outcome.entered || duty.bundles.empty()) return outcome;
  if (Status placed = place_heads(job, duty, *outcome.entered); !placed) outcome.failed = placed.error();
  return outcome;
}

// From the first entry on. The job is whole whatever becomes of it.
LedgerOutcome do_ledger_duty(const VehicleJob& job, const MadeJob& made, LedgerDuty duty,
                             const std::string& ledger) {
  for (const Job& one : job.controllers) {
    if (ledger.empty()) break;
    if (Status linked = link_ledger(one.folder, ledger); !linked) return {std::nullopt, linked.error()};
  }
  duty.handover = made.handover;
  for (const OpenedBase& opened : made.opened) {
    if (opened.sealed) duty.bundles.push_back(opened.controller + "/" + opened.bundle);
  }
  return do_ledger_duty(job, duty);
}

std::string ledger_text(const LedgerOutcome& outcome, const Page& page) {
  std::string text;
  if (outcome.failed) {
    const Error& error = *outcome.failed;
    const bool head_alone = outcome.entered.has_value();
    text += labelled(page, "ledger",
                     (head_alone ? "NO HEAD: " : "NOT ENTERED: ") +
                         (error.file.empty() ? "" : error.file + ": ") + error.found +
                         ". What is said above is done and kept" + (head_alone ? ", and entered. " : ". ") +
                         error.next + "; then calseal job ledger FOLDER --trust SHOP.TRUST " +
                         (head_alone ? "puts a head in place" : "enters it"),
                     Mark::kBad);
  }
  if (!outcome.entered) return text;
  text += labelled(
      page, "ledger",
      counted(outcome.entered->added, "entry", "entries") + " new, " + tree_head_text(outcome.entered->head));
  if (!outcome.entered->head_file.empty() && !outcome.entered->head_is_new)
    text += labelled(page, "caution",
                     "the head beside the bundle is the newest signed one; --ledger-key signs a new one",
                     Mark::kCaution);
  return text;
}

void add_ledger(JsonValue& value, const LedgerOutcome& outcome) {
  if (outcome.failed) value.members.emplace_back("ledger_failed", json_error(*outcome.failed));
  if (!outcome.entered) return;
  value.members.emplace_back("ledger", json_object({{"added", json(outcome.entered->added)},
                                                    {"was_there", json(outcome.entered->was_there)},
                                                    {"head", tree_head_json(outcome.entered->head)},
                                                    {"head_file", json(outcome.entered->head_file)},
                                                    {"head_is_new", json(outcome.entered->head_is_new)}}));
}

}  // namespace calseal
