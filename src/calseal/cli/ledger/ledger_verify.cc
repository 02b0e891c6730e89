#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/ledger.h"
#include "calseal/ledger/token.h"
#include "calseal/report/ledger/ledger_report.h"

namespace calseal {
namespace {

struct LookOptions {
  std::string folder, trust, revision, job;
  std::vector<std::string> heads, authorities, earlier;
};

struct LoadedQuestion {
  LoadedTrust trust;
  std::vector<LoadedTrust> earlier;
  LedgerQuestion question;
};

Result<std::unique_ptr<LoadedQuestion>> load_question(const LookOptions& options) {
  auto loaded = std::make_unique<LoadedQuestion>();
  if (!options.trust.empty()) {
    CALSEAL_ASSIGN(loaded->trust, load_trust(options.trust));
    loaded->question.trust = &loaded->trust.trust;
  }
  for (const std::string& path : options.earlier) {
    CALSEAL_ASSIGN(LoadedTrust trust, load_trust(path));
    loaded->earlier.push_back(std::move(trust));
  }
  for (const LoadedTrust& trust : loaded->earlier) loaded->question.earlier.push_back(&trust.trust);
  for (const std::string& path : options.heads) {
    CALSEAL_ASSIGN(Bytes bytes, read_file(path, kTreeHeadSizeLimit));
    loaded->question.heads.push_back({{printable(path), std::move(bytes)}, std::nullopt});
  }
  CALSEAL_ASSIGN(loaded->question.authorities, load_authorities_of(options.authorities));
  return loaded;
}

void tell(Progress& progress, const LedgerRecord& record) {
  progress.at(grouped(record.index + 1) + " entries");
}

Result<int> run_verify(const LookOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const auto loaded, load_question(options));
  Progress progress(console, "reading the ledger");
  loaded->question.on_record = [&](const LedgerRecord& record) { tell(progress, record); };
  CALSEAL_ASSIGN(const LedgerReport report, verify_ledger(options.folder, loaded->question));
  console.print(ledger_report_text(report, !options.trust.empty(), page_for(console)));
  console.print_json(ledger_report_json(report, !options.trust.empty()));
  return report.clean() ? 0 : 1;
}

Result<int> run_show(const LookOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const auto loaded, load_question(options));
  std::optional<Sha256> revision;
  if (!options.revision.empty()) {
    CALSEAL_ASSIGN(revision, stated_digest(options.revision, "--revision"));
  }
  std::vector<LedgerRecord> shown;
  Progress progress(console, "reading the ledger");
  loaded->question.on_record = [&](const LedgerRecord& record) {
    tell(progress, record);
    const LedgerFacts& facts = record.detail.facts;
    const bool known = record.detail_state == DetailState::kPresent;
    if (revision && !(known && facts.about == *revision)) return;
    if (!options.job.empty() && !(known && facts.job == options.job)) return;
    shown.push_back(record);
  };
  CALSEAL_ASSIGN(const LedgerReport report, verify_ledger(options.folder, loaded->question));
  std::string text;
  for (const LedgerRecord& record : shown) text += ledger_record_text(record, report.witnessed(record.index));
  if (shown.empty()) text = "no such entry\n";
  if (!report.clean()) text += "The ledger is not clean: see calseal ledger verify.\n";
  console.print(text);
  console.print_json(json_object({{"calseal", json("ledger-show/1")},
                                  {"ledger", json(report.folder)},
                                  {"clean", json(report.clean())},
                                  {"entries", json_array(shown, [&](const LedgerRecord& record) {
                                     return ledger_record_json(record, report.witnessed(record.index));
                                   })}}));
  return report.clean() ? 0 : 1;
}

void add_look_options(CommandLine& command, LookOptions& options) {
  command.add_option("LEDGER", options.folder, "The ledger's folder, or its entries file")
      ->takes("FOLDER")
      ->required();
  command
      .add_option("--trust", options.trust, "The shop's newest trust file; without it no signature is judged")
      ->takes("FILE");
  command
      .add_option("--earlier-trust", options.earlier,
                  "A trust file of a root before that one, for heads of its time (repeatable)")
      ->takes("FILE");
  command
      .add_option("--head", options.heads, "A head that somebody kept; held against the ledger (repeatable)")
      ->takes("FILE");
  command
      .add_option("--authority", options.authorities,
                  "PEM certificates of a time-stamp authority that you believe (repeatable)")
      ->takes("FILE");
}

}  // namespace

void add_ledger_verify_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command =
      ledger.add_subcommand("verify", "Every entry, every head: what was changed, removed or moved");
  auto o = std::make_shared<LookOptions>();
  add_look_options(*command, *o);
  set_command(
      *command, console,
      {"calseal ledger verify shop-ledger --trust shop.trust",
       "calseal ledger verify shop-ledger --trust shop.trust --head customers/r1.head --authority tsa.pem"},
      [o](Console& c) { return run_verify(*o, c); }, status);
}

void add_ledger_show_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command =
      ledger.add_subcommand("show", "What the ledger says, with claimed and witnessed times");
  auto o = std::make_shared<LookOptions>();
  add_look_options(*command, *o);
  command->add_option("--revision", o->revision, "Only about this revision: its identity, 64 digits")
      ->takes("DIGEST");
  command->add_option("--job", o->job, "Only about this job")->takes("NAME");
  set_command(
      *command, console, {"calseal ledger show shop-ledger --job oak-17 --trust shop.trust"},
      [o](Console& c) { return run_show(*o, c); }, status);
}

}  // namespace calseal
