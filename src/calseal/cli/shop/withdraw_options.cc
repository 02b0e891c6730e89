#include "calseal/cli/shop/withdraw_options.h"

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {

void add_withdraw_options(CommandLine& command, WithdrawOptions& o) {
  command.add_option("BUNDLE", o.bundles, "Bundles to withdraw; never a revision 0")->takes("FILE");
  command
      .add_option("--revision", o.revisions,
                  "Identity of a revision to withdraw, with --job and --controller (repeatable)")
      ->takes("DIGEST");
  command
      .add_option(
          "--where", o.where,
          "WORD=VALUE as in calseal find, with --in: every revision that fits all of them (repeatable)")
      ->takes("WORD=VALUE");
  Argument* archive =
      command.add_option("--in", o.archive, "The archive that --where is asked of")->takes("FOLDER");
  command.add_flag("--rebuild", o.rebuild, "Read all its bundles anew, whatever the index holds")
      ->needs(archive);
  command
      .add_flag("--despite-unread", o.despite_unread,
                "Sign although parts of the archive could not be read: what lies there is not withdrawn")
      ->needs(archive);
  command.add_option("--job", o.job, "Job of the --revision")->takes("NAME");
  command.add_option("--controller", o.controller, "Controller of the --revision")->takes("NAME");
  command.add_option("--class", o.kind, "commercial, error, replaced or safety")
      ->one_of({"commercial", "error", "replaced", "safety"});
  command.add_flag("--go-back", o.go_back, "Controllers that hold it must be written again now");
  command
      .add_option("--go-to", o.go_to, "Identity of the revision to go to (default: the way back, revision 0)")
      ->takes("DIGEST");
  command.add_option("--text", o.text, "One line: why");
  command
      .add_option("--after", o.after,
                  "The list before this one: its notices are kept, its number grows; without --output it "
                  "is replaced, and kept as NAME-v<number>")
      ->takes("FILE");
  command
      .add_option("--after-trust", o.after_trust,
                  "Trust file under which that list counts, where --trust no longer believes its signer")
      ->takes("FILE");
  command.add_option("--number", o.number, "Number of this list, where the one before is lost")
      ->in_range(1, 9007199254740991);
  command
      .add_option("--fresh-days", o.fresh_days, "Days until holders should ask for a newer list (default 90)")
      ->in_range(1, 3650);
  command.add_option("--fresh-until", o.fresh_until, "The same as a time (UTC)")->takes("TIME");
  command.add_flag("--dry-run", o.dry_run, "Only show what the list would say; needs no key");
  add_statement_options(command, o, "with the role withdrawal");
  command.argument("--key")->required(false);
  command.argument("--output")->required(false);
  add_shop_option(command, {kWithdrawalKeys, kShopTrust, kListBefore});
}

Status judge_withdraw_options(const WithdrawOptions& options) {
  const bool nowhere = options.output.empty() && options.after.empty();
  if (!options.dry_run && (options.keys.empty() || nowhere)) {
    return fail(usage_error(options.keys.empty() ? "--key" : "--output", "none",
                            "--key, and --output or --after, whose name the next list then keeps",
                            "give both, or a shop file that has them (docs/shop.md), or only look with "
                            "--dry-run"));
  }
  const bool any = !options.bundles.empty() || !options.revisions.empty() || !options.where.empty();
  if (options.where.empty() != options.archive.empty()) {
    return fail(usage_error("--where", "one without the other", "--where and --in together",
                            "say which revisions, and in which archive"));
  }
  if (!options.where.empty() && options.text.empty())
    return fail(usage_error("--text", "none", "one line", "say why: holders will read it"));
  if (any && options.kind.empty()) {
    return fail(
        usage_error("--class", "none", "commercial, error, replaced or safety", "say why it is withdrawn"));
  }
  if (!is_line(options.text)) {
    return fail(usage_error("--text", "\"" + printable(options.text, 60) + "\"",
                            "one line of at most 200 bytes", "write a shorter line"));
  }
  if (!options.go_to.empty() && !options.go_back) {
    return fail(
        usage_error("--go-to", "no --go-back", "--go-back beside it", "say that people must go back"));
  }
  if (options.revisions.empty()) return {};
  if (is_name(options.job) && is_name(options.controller)) return {};
  return fail(usage_error("--revision", "no --job and --controller, or no names",
                          "the names of job and controller, as in the bundle",
                          "give both, or give the bundle itself"));
}

}  // namespace calseal
