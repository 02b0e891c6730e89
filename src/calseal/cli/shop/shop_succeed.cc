#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/trust_change_command.h"
#include "calseal/cli/shop/trust_report.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/sign/trust_change.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

struct SucceedOptions {
  std::string trust, old_root, new_root, passphrase_file, new_passphrase_file, reason, time, succession,
      output;
};

struct Succeeded {
  TrustFile trust;
  KeyId old_root;
  std::string put_aside;
};

Result<Succeeded> succeed(const SucceedOptions& options) {
  std::vector<std::string> outputs{options.succession};
  if (!options.output.empty()) outputs.push_back(options.output);
  CALSEAL_CHECK(refuse_clashes(outputs, {options.trust, options.old_root, options.new_root,
                                         options.passphrase_file, options.new_passphrase_file}));
  if (!is_line(options.reason)) {
    return fail(usage_error("--reason", "\"" + printable(options.reason, 60) + "\"",
                            "one line of at most 200 bytes", "write a shorter line"));
  }
  CALSEAL_ASSIGN(const LoadedTrust old_trust, load_trust(options.trust));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  if (time_text(now) < old_trust.trust.claimed_time) {
    return fail(usage_error("--claimed-time", time_text(now), "not before " + old_trust.trust.claimed_time,
                            "set the clock, or state the right time"));
  }
  CALSEAL_ASSIGN(const PrivateKey old_root, load_key(options.old_root, options.passphrase_file));
  const std::string& new_word =
      options.new_passphrase_file.empty() ? options.passphrase_file : options.new_passphrase_file;
  CALSEAL_ASSIGN(const PrivateKey new_root, load_key(options.new_root, new_word));
  CALSEAL_ASSIGN(const std::string succession,
                 seal_succession(old_trust.text, time_text(now), options.reason, old_root, new_root));
  Succeeded done{trust_under_new_root(old_trust.trust, new_root.public_key(), time_text(now)), old_root.id(),
                 ""};
  CALSEAL_ASSIGN(const std::string trust, seal_trust_file(done.trust, new_root));
  const PendingFile step{options.succession, view_of(succession), FileMode::kPublic, Existing::kRefuse};
  CALSEAL_ASSIGN(done.put_aside, write_next_version({options.trust, options.output}, before_of(old_trust),
                                                    view_of(trust), {step}));
  return done;
}

int run_succeed(const SucceedOptions& options, const Console& console) {
  const Result<Succeeded> done = succeed(options);
  if (!done) return console.fail(done.error());
  const std::string output = VersionPlace{options.trust, options.output}.chosen();
  console.print(
      "made      " + printable(options.succession) + "  (proves that the new root follows the old one)\n" +
      "          " + printable(output) + "  (version 1 under the new root)\n" + aside_text(done->put_aside) +
      trust_text(done->trust) +
      "Give both to all customers, and read them the new root's fingerprint. Who knows the old root needs\n"
      "the succession with every check; the old root signs nothing more: destroy its private key.\n");
  console.print_json(json_object({{"calseal", json("shop-succeed/1")},
                                  {"succession", json(printable(options.succession, kShownPathLimit))},
                                  {"output", json(printable(output, kShownPathLimit))},
                                  {"put_aside", json(printable(done->put_aside, kShownPathLimit))},
                                  {"old_root_id", json(digest_text(done->old_root))},
                                  {"old_root_fingerprint", json(spoken_code(Spoken::kKey, done->old_root))},
                                  {"trust", trust_json(done->trust)}}));
  return 0;
}

}  // namespace

void add_shop_succeed_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command = shop.add_subcommand(
      "succeed", "Hand over to the announced root: a succession and the new root's first trust file");
  auto o = std::make_shared<SucceedOptions>();
  command
      ->add_option("TRUST", o->trust,
                   "The old root's last trust file, which announces the new root; it is replaced, and kept "
                   "as NAME-v<version>")
      ->takes("FILE")
      ->required();
  command->add_option("--root-key", o->old_root, "The old root's private key")->takes("FILE")->required();
  command->add_option("--new-root-key", o->new_root, "The new root's private key")->takes("FILE")->required();
  command->add_option("--passphrase-file", o->passphrase_file, "First line: passphrase of the old root")
      ->takes("FILE");
  command
      ->add_option("--new-passphrase-file", o->new_passphrase_file,
                   "First line: passphrase of the new root (default: the same)")
      ->takes("FILE");
  command->add_option("--reason", o->reason, "One line: why");
  command
      ->add_option("--claimed-time", o->time, "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  command->add_option("--succession", o->succession, "The succession to write; nothing is replaced")
      ->takes("FILE")
      ->required();
  command
      ->add_option(
          "-o,--output", o->output,
          "Write the new root's trust file here instead, and leave TRUST as it is; nothing is replaced")
      ->takes("FILE");
  set_command(
      *command, console,
      {"calseal shop succeed shop.trust --root-key root.key --new-root-key root2.key --reason \"moved\" "
       "--succession shop.succession"},
      [o](Console& c) { return run_succeed(*o, c); }, status);
}

}  // namespace calseal
