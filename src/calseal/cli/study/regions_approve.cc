#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/rules.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/statement_options.h"
#include "calseal/cli/study/study_commands.h"
#include "calseal/report/changes/map_diff_text.h"
#include "calseal/report/changes/places.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/approval.h"

namespace calseal {
namespace {

struct ApproveOptions : StatementOptions {
  std::string before, after, text;
};

// Between such maps an approval could never lead.
Status require_approvable(const RegionMap& before, const RegionMap& after, const std::string& name) {
  const auto refuse = [&](Reason reason, std::string place, std::string found, std::string expected,
                          std::string next) {
    return fail(
        {reason, printable(name), std::move(place), std::move(found), std::move(expected), std::move(next)});
  };
  if (before.controller != after.controller) {
    return refuse(Reason::kUsage, "/controller", after.controller,
                  before.controller + ", as in the map before", "give two maps of one controller");
  }
  if (before.digest == after.digest)
    return refuse(Reason::kUsage, "", "the same text twice", "two texts",
                  "give the map before, then the new one");
  if (before.name == after.name && before.version == after.version) {
    return refuse(Reason::kRulesChanged, "/version", std::to_string(after.version) + ", as in the map before",
                  "a higher version, since it is another map", "raise \"version\" in the new map");
  }
  return {};
}

Result<int> approve(const ApproveOptions& options, const Console& console) {
  std::vector<std::string> inputs{options.trust, options.passphrase_file, options.before, options.after};
  inputs.insert(inputs.end(), options.keys.begin(), options.keys.end());
  CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  CALSEAL_ASSIGN(const RegionMap before, load_region_map(options.before));
  CALSEAL_ASSIGN(const RegionMap after, load_region_map(options.after));
  CALSEAL_CHECK(require_approvable(before, after, options.after));
  CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options.trust));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  const MapDiff diff = diff_region_maps(before, after);
  const Page page = page_for(console);
  // First what is about to be signed: whoever signs stands by it.
  console.print(
      map_diff_text(before, after, diff, page) +
      (diff.widens ? "\n" + labelled(page, "caution", widening_text(diff, after), Mark::kCaution) : ""));
  const Approval approval{after.controller, before.digest, after.digest, time_text(now), options.text, {}};
  CALSEAL_ASSIGN(const std::vector<PrivateKey> keys, load_keys(options.keys, options.passphrase_file));
  CALSEAL_ASSIGN(const std::string file,
                 sign_statement(write_approval_text(approval), SigningKeys(keys.begin(), keys.end())));
  CALSEAL_ASSIGN(const Approval made, parse_approval(view_of(file), loaded.trust, printable(options.output)));
  CALSEAL_CHECK(write_file(options.output, view_of(file), FileMode::kPublic, Existing::kRefuse));
  std::string signers;
  for (const std::string& name : made.signers) signers += (signers.empty() ? "" : ", ") + printable(name, 60);
  console.print("\n" + labelled(page, "approved", printable(options.output)) + labelled(page, "by", signers) +
                labelled(page, "because", printable(made.text)) +
                "Seal the next revision with it (--approval); later ones carry it on.\n");
  console.print_json(json_object({{"calseal", json("regions-approve/1")},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"controller", json(made.controller)},
                                  {"before", region_map_json(before)},
                                  {"after", region_map_json(after)},
                                  {"widens", json(diff.widens)},
                                  {"allows", json(diff.widens ? widening_text(diff, after) : "")},
                                  {"claimed_time", json(made.claimed_time)},
                                  {"text", json(made.text)}}));
  return 0;
}

}  // namespace

void add_regions_approve_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.subcommand("regions")->add_subcommand(
      "approve", "Sign that the shop stands by a change of its region map, whatever it allows");
  auto o = std::make_shared<ApproveOptions>();
  command->add_option("BEFORE", o->before, "Region map that revisions were sealed with")
      ->takes("FILE")
      ->required();
  command->add_option("AFTER", o->after, "Region map that is to replace it")->takes("FILE")->required();
  command->add_option("--text", o->text, "Why, in one line for the customer; it is signed")->required();
  add_statement_options(*command, *o, "of a map author, or the root's");
  add_shop_option(*command, {kShopTrust});
  set_command(
      *command, console,
      {"calseal regions approve engine-3.json engine-4.json --text \"the gear table is ours now\" --key "
       "root.key --trust shop.trust -o engine-4.approval"},
      [o](Console& c) { return approve(*o, c); }, status);
}

}  // namespace calseal
