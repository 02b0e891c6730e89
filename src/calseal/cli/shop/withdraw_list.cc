#include "calseal/cli/shop/withdraw_list.h"

#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/query/known_words.h"
#include "calseal/query/withdraw_found.h"
#include "calseal/sign/next_version.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSecondsOfDay = 86400;
constexpr WithdrawalClass kClasses[] = {WithdrawalClass::kCommercial, WithdrawalClass::kError,
                                        WithdrawalClass::kReplaced, WithdrawalClass::kSafety};

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

Result<std::vector<WithdrawalNotice>> make_notices(const WithdrawOptions& options) {
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

// The list before this one; `text`: as it stands in its file.
Result<std::optional<WithdrawalList>> load_previous(const WithdrawOptions& options, const TrustFile& trust,
                                                    Bytes& text) {
  if (options.after.empty()) return std::optional<WithdrawalList>();
  TrustFile under = trust;
  if (!options.after_trust.empty()) {
    CALSEAL_ASSIGN(LoadedTrust loaded, load_trust(options.after_trust));
    under = std::move(loaded.trust);
  }
  CALSEAL_ASSIGN(text, read_file(options.after, kWithdrawalSizeLimit));
  CALSEAL_ASSIGN(WithdrawalList list, parse_withdrawals(text, under, printable(options.after)));
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
  if (!options.despite_unread && !options.dry_run) CALSEAL_CHECK(refuse_unread(index));
  CALSEAL_ASSIGN(const std::vector<FoundRevision> found, find_revisions(index, criteria, nullptr));
  if (found.empty()) CALSEAL_CHECK(judge_words(index, criteria));
  CALSEAL_ASSIGN(FoundNotices about,
                 notices_against_found(options.archive, found, previous ? &*previous : nullptr));
  done.unread = index.unread;
  done.ways_back = about.ways_back;
  done.kept = about.kept;
  for (WithdrawalNotice& one : about.notices) {
    CALSEAL_ASSIGN(WithdrawalNotice notice, described(options, std::move(one)));
    notices.push_back(std::move(notice));
  }
  return notices;
}

}  // namespace

Result<Withdrawn> withdraw(const WithdrawOptions& options) {
  CALSEAL_CHECK(judge_withdraw_options(options));
  std::vector<std::string> inputs{options.after, options.after_trust, options.trust, options.passphrase_file};
  for (const auto* list : {&options.bundles, &options.keys})
    inputs.insert(inputs.end(), list->begin(), list->end());
  if (!options.dry_run && !options.output.empty()) CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
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
  Bytes text;
  CALSEAL_ASSIGN(const std::optional<WithdrawalList> previous, load_previous(options, trust, text));
  Withdrawn done;
  done.output = options.output;
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
  const VersionPlace place{options.after, options.output};
  done.output = place.chosen();
  const VersionBefore before =
      previous ? VersionBefore{previous->number, previous->root, text} : VersionBefore();
  CALSEAL_ASSIGN(done.put_aside, write_next_version(place, before, view_of(file)));
  return done;
}

}  // namespace calseal
