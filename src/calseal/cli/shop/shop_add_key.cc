#include <memory>

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/trust_change_command.h"
#include "calseal/sign/trust_change.h"

namespace calseal {
namespace {

constexpr Role kRoles[] = {Role::kAuthor,   Role::kLedger, Role::kMapAuthor,
                           Role::kReviewer, Role::kSheet,  Role::kWithdrawal};

struct AddKeyOptions {
  TrustChangeOptions change;
  std::string key, name, valid_from, valid_until;
  std::vector<std::string> roles, jobs, controllers, region_maps;
};

Result<TrustedKey> described_key(const AddKeyOptions& options, const std::string& now) {
  TrustedKey key;
  CALSEAL_ASSIGN(key.public_key, load_public_key(options.key));
  if (!is_line(options.name) || options.name.empty()) {
    return fail(usage_error("--name", "\"" + printable(options.name, 60) + "\"", "a line of 1 to 200 bytes",
                            "choose a shorter name without control characters"));
  }
  key.name = options.name;
  for (const Role role : kRoles) {
    if (std::ranges::find(options.roles, role_name(role)) != options.roles.end()) key.roles.push_back(role);
  }
  for (const auto* names : {&options.jobs, &options.controllers}) {
    for (const std::string& name : *names) {
      if (is_name(name)) continue;
      return fail(usage_error(names == &options.jobs ? "--job" : "--controller",
                              "\"" + printable(name, 80) + "\"", "a name: [a-z0-9][a-z0-9_-]{0,63}",
                              "write it as in the bundles"));
    }
  }
  key.jobs = options.jobs;
  key.controllers = options.controllers;
  for (const std::string& text : options.region_maps) {
    CALSEAL_ASSIGN(const Sha256 digest, stated_digest(text, "--region-map"));
    key.region_maps.push_back(digest);
  }
  key.valid_from = now;
  if (!options.valid_from.empty()) {
    CALSEAL_ASSIGN(const UtcTime from, stated_time(options.valid_from, "--valid-from"));
    key.valid_from = time_text(from);
  }
  if (!options.valid_until.empty()) {
    CALSEAL_ASSIGN(const UtcTime until, stated_time(options.valid_until, "--valid-until"));
    key.valid_until = time_text(until);
    if (key.valid_until <= key.valid_from)
      return fail(usage_error("--valid-until", key.valid_until, "a time after " + key.valid_from,
                              "state a later time"));
  }
  return key;
}

int run_add_key(const AddKeyOptions& options, const Console& console) {
  return run_trust_change(
      options.change, {options.key},
      [&](TrustFile& trust) -> Result<TrustChange> {
        CALSEAL_ASSIGN(TrustedKey key, described_key(options, trust.claimed_time));
        const std::string id = digest_text(compute_key_id(key.public_key));
        CALSEAL_CHECK(add_key(trust, std::move(key)));
        return TrustChange{"key-added", id, ""};
      },
      console);
}

}  // namespace

void add_shop_add_key_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command = shop.add_subcommand("add-key", "Put a signing key into the trust file");
  auto o = std::make_shared<AddKeyOptions>();
  add_trust_change_options(*command, o->change);
  command->add_option("KEY", o->key, "Public key file (calseal key new makes it beside the private one)")
      ->takes("FILE")
      ->required();
  command->add_option("--name", o->name, "Whose key it is")->takes("TEXT")->required();
  command->add_option("--role", o->roles, "What it may sign (repeatable)")
      ->required()
      ->one_of({"author", "ledger", "map-author", "reviewer", "sheet", "withdrawal"});
  command->add_option("--job", o->jobs, "Only for this job (repeatable)")->takes("NAME");
  command->add_option("--controller", o->controllers, "Only for this controller (repeatable)")->takes("NAME");
  command->add_option("--region-map", o->region_maps, "Only for the region map of this digest (repeatable)")
      ->takes("DIGEST");
  command
      ->add_option("--valid-from", o->valid_from,
                   "Claimed times from this one on (default: now; earlier to counter-sign old bundles)")
      ->takes("TIME");
  command->add_option("--valid-until", o->valid_until, "Claimed times before this one (default: no end)")
      ->takes("TIME");
  set_command(
      *command, console,
      {"calseal shop add-key shop.trust second.key.pub --name \"Second author\" --role author --root-key "
       "root.key",
       "calseal shop add-key shop.trust desk.key.pub --name Desk --role withdrawal --root-key root.key"},
      [o](Console& c) { return run_add_key(*o, c); }, status);
}

}  // namespace calseal
