#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/ledger/append_entries.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/append.h"
#include "calseal/report/ledger/ledger_report.h"

namespace calseal {
namespace {

Result<int> run(const AppendOptions& options, const Console& console) {
  const bool proof = !options.receipt.empty() || !options.code.empty();
  if (proof && (options.kind != "received" || options.bundles.size() != 1))
    return fail(
        usage_error("--receipt", "a receipt or a code", "with received and one bundle", "state that"));
  Progress progress(console, 2);
  progress.begin("verifying the bundles");
  CALSEAL_ASSIGN(const std::vector<NewEntry> entries, make_entries(options));
  progress.begin("entering what is not there yet");
  CALSEAL_ASSIGN(const Appended appended, append_entries(options.folder, entries));
  std::string text;
  JsonValue listed = json_array(std::vector<int>(), [](int i) { return json(i); });
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const LedgerFacts& facts = entries[i].facts;
    const AppendedEntry& place = appended.entries[i];
    text += std::string(place.was_there ? "was there  " : "appended   ") + "entry " + grouped(place.index) +
            ": " + std::string(entry_kind_name(facts.kind)) + ", " + facts.job + ", " + facts.controller +
            ", " + subject_text(facts) + "\n";
    listed.items.push_back(json_object({{"entry", json(place.index)},
                                        {"was_there", json(place.was_there)},
                                        {"kind", json(entry_kind_name(facts.kind))},
                                        {"identity", json_digest(facts.about)}}));
  }
  if (appended.torn_bytes != 0)
    text += "took out   " + bytes_text(appended.torn_bytes) + " that a writer left who was cut off\n";
  if (appended.adopted != 0)
    text += "adopted    " + grouped(appended.adopted) + " whole entries that a writer left who was cut off\n";
  text += labelled(page_for(console), "head", tree_head_text(appended.head));
  console.print(text);
  console.print_json(json_object({{"calseal", json("ledger-append/1")},
                                  {"ledger", json(printable(options.folder, kShownPathLimit))},
                                  {"entries", listed},
                                  {"torn_bytes", json(appended.torn_bytes)},
                                  {"adopted", json(appended.adopted)},
                                  {"head", tree_head_json(appended.head)}}));
  return 0;
}

}  // namespace

void add_ledger_append_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command =
      ledger.add_subcommand("append", "Enter what happened to revisions; what is there already stays");
  auto o = std::make_shared<AppendOptions>();
  command->add_option("LEDGER", o->folder, "The ledger's folder")->takes("FOLDER")->required();
  command
      ->add_option("KIND", o->kind,
                   "sealed, sent, received, cautions-accepted, written, confirmed, withdrawn or closed")
      ->required()
      ->one_of(
          {"sealed", "sent", "received", "cautions-accepted", "written", "confirmed", "withdrawn", "closed"});
  command->add_option("BUNDLE", o->bundles, "Bundles of the revisions; that they were sealed is entered too")
      ->takes("FILE")
      ->required();
  command->add_option("--trust", o->trust, "The shop's trust file")->takes("FILE")->required();
  command->add_option("--words", o->words,
                      "sent: the channel; confirmed: the grade of proof; withdrawn: why; else what you like");
  command
      ->add_option("--time", o->time,
                   "When it happened, instead of now (UTC); stated, another time is another entry")
      ->takes("TIME");
  command->add_option("--receipt", o->receipt, "received: the receipt that the customer's checker wrote")
      ->takes("FILE");
  command
      ->add_option("--fingerprint", o->fingerprint,
                   "With --receipt: the fingerprint of the customer's key, as he read it aloud")
      ->takes("FINGERPRINT");
  command->add_option("--code", o->code, "received: the code that the customer read aloud (with --salt)")
      ->takes("CODE");
  command->add_option("--salt", o->salt, "The job's salt, for --code")->takes("FILE");
  add_shop_option(*command, {kShopTrust});
  set_command(
      *command, console,
      {"calseal ledger append shop-ledger sealed oak-17/base-1/*.calseal --trust shop.trust",
       "calseal ledger append shop-ledger sent r1.calseal --words mail --trust shop.trust",
       "calseal ledger append shop-ledger received r1.calseal --receipt r1.receipt --trust shop.trust"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
