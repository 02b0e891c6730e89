#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/trust_change_command.h"
#include "calseal/cli/shop/withdraw_list.h"

namespace calseal {
namespace {

std::string action_text(const WithdrawalNotice& notice) {
  if (!notice.go_back) return "do not write";
  return notice.go_to ? "go back now, to " + digest_text(*notice.go_to) : "go back now, to revision 0";
}

JsonValue unread_json(const UnreadFile& file) {
  return json_object({{"file", json(printable(file.path, kShownPathLimit))}, {"reason", json(file.reason)}});
}

int run_withdraw(const WithdrawOptions& options, const Console& console) {
  const Result<Withdrawn> done = withdraw(options);
  if (!done) return console.fail(done.error());
  const WithdrawalList& list = done->list;
  std::string text = (options.dry_run ? std::string("dry run   nothing is signed or written  (list ")
                                      : "made      " + printable(done->output) + "  (list ") +
                     std::to_string(list.number) + ", " + grouped(list.notices.size()) +
                     (list.notices.size() == 1 ? " notice" : " notices") + ", fresh until " +
                     list.fresh_until + ")\n" + aside_text(done->put_aside);
  for (const WithdrawalNotice& notice : list.notices) {
    text += "withdrawn " + digest_text(notice.revision) + "\n          job " + notice.job + ", " +
            notice.controller + ", " + std::string(withdrawal_class_name(notice.kind)) + ": " +
            action_text(notice) + (notice.text.empty() ? "" : "; " + printable(notice.text)) + "\n";
  }
  if (done->ways_back > 0)
    text += "left out  " + grouped(done->ways_back) + " of revision 0: the way back stays open\n";
  if (done->kept > 0) text += "kept      " + grouped(done->kept) + " as the list before says it\n";
  for (const UnreadFile& file : done->unread)
    text += "NOT READ  " + printable(file.path) + ": " + file.reason + "; it may be one of them\n";
  text += options.dry_run ? "To sign it, give --key and --output instead of --dry-run.\n"
                          : "Give it to all customers; the next list follows this one (--after).\n";
  console.print_folded(text, 10);
  console.print_json(json_object({{"calseal", json("withdraw/1")},
                                  {"output", json(printable(done->output, kShownPathLimit))},
                                  {"put_aside", json(printable(done->put_aside, kShownPathLimit))},
                                  {"number", json(list.number)},
                                  {"claimed_time", json(list.claimed_time)},
                                  {"fresh_until", json(list.fresh_until)},
                                  {"added", json(done->added)},
                                  {"dry_run", json(options.dry_run)},
                                  {"ways_back", json(done->ways_back)},
                                  {"kept", json(done->kept)},
                                  {"unread", json_array(done->unread, unread_json)},
                                  {"notices", json_array(list.notices, [](const WithdrawalNotice& notice) {
                                     return record_json(notice, notice_fields);
                                   })}}));
  return done->unread.empty() || options.despite_unread ? 0 : 1;
}

}  // namespace

void add_withdraw_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command =
      app.add_subcommand("withdraw", "Sign the list of revisions that must no longer be written");
  auto o = std::make_shared<WithdrawOptions>();
  add_withdraw_options(*command, *o);
  set_command(
      *command, console,
      {"calseal withdraw r3.calseal --class safety --go-back --text \"too lean above 5000\" --after "
       "withdrawn.list --key withdrawal.key --trust shop.trust",
       "calseal withdraw --where option=launch --where software=DU-00001 --in archive --class error --text "
       "\"cuts out at full load\" --after withdrawn.list --trust shop.trust --dry-run",
       "calseal withdraw --key withdrawal.key --trust shop.trust -o withdrawn.list"},
      [o](Console& c) { return run_withdraw(*o, c); }, status);
}

}  // namespace calseal
