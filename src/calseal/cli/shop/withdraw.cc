#include "calseal/sign/withdraw.h"

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/statement_options.h"
#include "calseal/query/find.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSecondsOfDay = 86400;
constexpr WithdrawalClass kClasses[] = {WithdrawalClass::kCommercial, WithdrawalClass::kError,
                                        WithdrawalClass::kReplaced, WithdrawalClass::kSafety};

struct WithdrawOptions : StatementOptions {
  std::vector<std::string> bundles, revisions, where;
  std::string archive, job, controller, kind, go_to, text, after, after_trust, fresh_until;
  bool go_back = false, dry_run = false, rebuild = false;
  std::uint64_t number = 0, fresh_days = 90;
};

struct Withdrawn {
  WithdrawalList list;
  std::size_t added = 0;
  std::size_t ways_back = 0;       // revisions 0 among the answers to --where, which stay open
  std::size_t kept = 0;            // answers that the list before names already, with its words
  std::vector<UnreadFile> unread;  // about which --where can say nothing
};

// What the command line says of every notice that it makes.
Result<WithdrawalNotice> described(const WithdrawOptions& options, WithdrawalNotice notice) {
  for (const WithdrawalClass kind : kClasses) {
    if (withdrawal_class_name(kind) == options.kind) notice.kind = kind;
  }
  notice.go_back = options.go_back;
  notice.text = options.text;
  if (!options.go_to.empty()) {
    CALSEAL_ASSIGN(notice.go_to, stated_digest(options.go_to, "--go-to"));
  }
  return notice;
}

Status check_words(const WithdrawOptions& options) {
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

Result<std::vector<WithdrawalNotice>> make_notices(const WithdrawOptions& options) {
  CALSEAL_CHECK(check_words(options));
  std::vector<WithdrawalNotice> notices;
  for (const std::string& path : options.bundles) {
    CALSEAL_ASSIGN(const Bytes bundle, read_file(path, kBundleSizeLimit));
    CALSEAL_ASSIGN(WithdrawalNotice about, notice_against(bundle, printable(path)));
    CALSEAL_ASSIGN(WithdrawalNotice notice, described(options, std::move(about)));
    notices.push_back(std::move(notice));
  }
  for (const std::string& text : options.revisions) {
    WithdrawalNotice about;
    CALSEAL_ASSIGN(about.revision, stated_digest(text, "--revision"));
    about.job = options.job;
    about.controller = options.controller;
    CALSEAL_ASSIGN(WithdrawalNotice notice, described(options, std::move(about)));
    notices.push_back(std::move(notice));
  }
  return notices;
}

Result<std::optional<WithdrawalList>> load_previous(const WithdrawOptions& options, const TrustFile& trust) {
  if (options.after.empty()) return std::optional<WithdrawalList>();
  TrustFile under = trust;
  if (!options.after_trust.empty()) {
    CALSEAL_ASSIGN(LoadedTrust loaded, load_trust(options.after_trust));
    under = std::move(loaded.trust);
  }
  CALSEAL_ASSIGN(const Bytes bytes, read_file(options.after, kWithdrawalSizeLimit));
  CALSEAL_ASSIGN(WithdrawalList list, parse_withdrawals(bytes, under, printable(options.after)));
  return std::optional<WithdrawalList>(std::move(list));
}

Status state_number(const WithdrawOptions& options, WithdrawalList& list) {
  if (options.number == 0) return {};
  if (options.number < list.number) {
    return fail(usage_error("--number", std::to_string(options.number),
                            "at least " + std::to_string(list.number), "leave it out: it grows by itself"));
  }
  list.number = options.number;
  return {};
}

// Every answer to --where but revisions 0, and but those that the list before names already: a question must
// not soften what somebody said with care.
Result<std::vector<WithdrawalNotice>> answer_notices(const WithdrawOptions& options,
                                                     const std::optional<WithdrawalList>& previous,
                                                     Withdrawn& done) {
  std::vector<WithdrawalNotice> notices;
  if (options.where.empty()) return notices;
  std::vector<Criterion> criteria;
  for (const std::string& text : options.where) {
    CALSEAL_ASSIGN(Criterion criterion, parse_criterion(text, "--where"));
    criteria.push_back(std::move(criterion));
  }
  CALSEAL_ASSIGN(const Index index, open_index(options.archive, {options.rebuild, {}, kLockWait}));
  CALSEAL_ASSIGN(const std::vector<FoundRevision> found, find_revisions(index, criteria, nullptr));
  done.unread = index.unread;
  for (const FoundRevision& one : found) {
    if (one.revision == 0) {
      ++done.ways_back;
    } else if (previous && previous->find(one.identity) != nullptr) {
      ++done.kept;
    } else {
      // The notice is about what the bundle itself says, not the index.
      const std::string path = options.archive + "/" + one.file;
      CALSEAL_ASSIGN(const Bytes bundle, read_file(path, kBundleSizeLimit));
      CALSEAL_ASSIGN(WithdrawalNotice about, notice_against(bundle, printable(path)));
      CALSEAL_ASSIGN(WithdrawalNotice notice, described(options, std::move(about)));
      notices.push_back(std::move(notice));
    }
  }
  return notices;
}

Result<Withdrawn> withdraw(const WithdrawOptions& options) {
  std::vector<std::string> inputs{options.after, options.after_trust, options.trust, options.passphrase_file};
  for (const auto* list : {&options.bundles, &options.keys})
    inputs.insert(inputs.end(), list->begin(), list->end());
  if (!options.dry_run && (options.keys.empty() || options.output.empty())) {
    return fail(usage_error(options.keys.empty() ? "--key" : "--output", "none",
                            "--key and --output, or --dry-run", "give both, or only look with --dry-run"));
  }
  if (!options.dry_run) CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options.trust));
  const TrustFile& trust = loaded.trust;
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  UtcTime fresh = now;
  fresh.seconds += static_cast<std::int64_t>(options.fresh_days * kSecondsOfDay);
  if (!options.fresh_until.empty()) {
    CALSEAL_ASSIGN(fresh, stated_time(options.fresh_until, "--fresh-until"));
  }
  if (fresh <= now) {
    return fail(usage_error("--fresh-until", time_text(fresh), "a time after " + time_text(now),
                            "state a later time"));
  }
  CALSEAL_ASSIGN(std::vector<WithdrawalNotice> notices, make_notices(options));
  CALSEAL_ASSIGN(const std::optional<WithdrawalList> previous, load_previous(options, trust));
  Withdrawn done;
  CALSEAL_ASSIGN(const std::vector<WithdrawalNotice> answers, answer_notices(options, previous, done));
  notices.insert(notices.begin(), answers.begin(), answers.end());
  CALSEAL_ASSIGN(done.list, next_withdrawals(previous, notices, compute_key_id(trust.root), time_text(now),
                                             time_text(fresh)));
  CALSEAL_CHECK(state_number(options, done.list));
  done.added = done.list.notices.size() - (previous ? previous->notices.size() : 0);
  if (options.dry_run) return done;
  CALSEAL_ASSIGN(const std::vector<PrivateKey> keys, load_keys(options.keys, options.passphrase_file));
  CALSEAL_ASSIGN(const std::string file,
                 seal_withdrawals(done.list, SigningKeys(keys.begin(), keys.end()), trust));
  CALSEAL_CHECK(write_file(options.output, view_of(file), FileMode::kPublic, Existing::kRefuse));
  return done;
}

std::string action_text(const WithdrawalNotice& notice) {
  if (!notice.go_back) return "do not write";
  return notice.go_to ? "go back now, to " + digest_text(*notice.go_to) : "go back now, to revision 0";
}

int run_withdraw(const WithdrawOptions& options, const Console& console) {
  const Result<Withdrawn> done = withdraw(options);
  if (!done) return console.fail(done.error());
  const WithdrawalList& list = done->list;
  std::string text = (options.dry_run ? std::string("dry run   nothing is signed or written  (list ")
                                      : "made      " + printable(options.output) + "  (list ") +
                     std::to_string(list.number) + ", " + grouped(list.notices.size()) +
                     (list.notices.size() == 1 ? " notice" : " notices") + ", fresh until " +
                     list.fresh_until + ")\n";
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
  console.print(text);
  console.print_json(json_object({{"calseal", json("withdraw/1")},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"number", json(list.number)},
                                  {"claimed_time", json(list.claimed_time)},
                                  {"fresh_until", json(list.fresh_until)},
                                  {"added", json(done->added)},
                                  {"dry_run", json(options.dry_run)},
                                  {"ways_back", json(done->ways_back)},
                                  {"kept", json(done->kept)},
                                  {"unread", json(done->unread.size())},
                                  {"notices", json_array(list.notices, [](const WithdrawalNotice& notice) {
                                     return record_json(notice, notice_fields);
                                   })}}));
  return 0;
}

}  // namespace

void add_withdraw_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command =
      app.add_subcommand("withdraw", "Sign the list of revisions that must no longer be written");
  auto o = std::make_shared<WithdrawOptions>();
  command->add_option("BUNDLE", o->bundles, "Bundles to withdraw; never a revision 0");
  command->add_option("--revision", o->revisions,
                      "Identity of a revision to withdraw, with --job and --controller (repeatable)");
  command->add_option(
      "--where", o->where,
      "WORD=VALUE as in calseal find, with --in: every revision that fits all of them (repeatable)");
  Argument* archive = command->add_option("--in", o->archive, "The archive that --where is asked of");
  command->add_flag("--rebuild", o->rebuild, "Read all its bundles anew, whatever the index holds")
      ->needs(archive);
  command->add_option("--job", o->job, "Job of the --revision");
  command->add_option("--controller", o->controller, "Controller of the --revision");
  command->add_option("--class", o->kind, "commercial, error, replaced or safety")
      ->one_of({"commercial", "error", "replaced", "safety"});
  command->add_flag("--go-back", o->go_back, "Controllers that hold it must be written again now");
  command->add_option("--go-to", o->go_to,
                      "Identity of the revision to go to (default: the way back, revision 0)");
  command->add_option("--text", o->text, "One line: why");
  command->add_option("--after", o->after,
                      "The list before this one: its notices are kept, its number grows");
  command->add_option("--after-trust", o->after_trust,
                      "Trust file under which that list counts, where --trust no longer believes its signer");
  command->add_option("--number", o->number, "Number of this list, where the one before is lost")
      ->in_range(1, 9007199254740991);
  command
      ->add_option("--fresh-days", o->fresh_days,
                   "Days until holders should ask for a newer list (default 90)")
      ->in_range(1, 3650);
  command->add_option("--fresh-until", o->fresh_until, "The same as a time (UTC)");
  command->add_flag("--dry-run", o->dry_run, "Only show what the list would say; needs no key");
  add_statement_options(*command, *o, "with the role withdrawal");
  command->argument("--key")->required(false);
  command->argument("--output")->required(false);
  set_command(
      *command, console,
      {"calseal withdraw r3.calseal --class safety --go-back --text \"too lean above 5000\" --after "
       "withdrawn-6.list --key desk.key --trust shop.trust -o withdrawn-7.list",
       "calseal withdraw --where option=launch --where software=DU-00001 --in archive --class error --text "
       "\"cuts out at full load\" --after withdrawn-7.list --trust shop.trust --dry-run",
       "calseal withdraw --after withdrawn-7.list --key desk.key --trust shop.trust -o withdrawn-8.list"},
      [o](Console& c) { return run_withdraw(*o, c); }, status);
}

}  // namespace calseal
