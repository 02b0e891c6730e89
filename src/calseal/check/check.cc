#include "calseal/check/check.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/prefix.h"
#include "calseal/check/cautions.h"
#include "calseal/check/known.h"
#include "calseal/check/near_miss.h"
#include "calseal/check/partners.h"
#include "calseal/check/proof.h"
#include "calseal/check/remember.h"
#include "calseal/check/revive.h"
#include "calseal/check/roots.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

constexpr std::int64_t kTrustAgeLimit =
    std::int64_t{400} * 86400;  // seconds; docs/order.md, "The trust file"

std::string names_of(const std::vector<NamedBytes>& files) {
  std::string names;
  for (const NamedBytes& file : files) names += (names.empty() ? "" : ", ") + printable(file.name);
  return names;
}

void note_evidence(const CheckRequest& request, Verdict& verdict) {
  const auto add = [&](std::string name, bool given, std::string detail) {
    verdict.evidence.push_back({std::move(name), given, std::move(detail)});
  };
  const auto add_file = [&](std::string name, const std::optional<NamedBytes>& file) {
    add(std::move(name), file.has_value(), file ? printable(file->name) : "");
  };
  const auto add_word = [&](std::string name, bool declared) {
    add(std::move(name), declared, declared ? "declared" : "");
  };
  std::string files;
  for (const ReadFile& file : request.read) {
    files +=
        (files.empty() ? "" : ", ") + (file.memory.empty() ? "" : file.memory + "=") + printable(file.name);
  }
  add("trust-file", true, printable(request.trust_name));
  add("root-fingerprint", !request.stated_root.empty(), printable(request.stated_root));
  add("succession", !request.successions.empty(), names_of(request.successions));
  add("read", !request.read.empty(), files);
  add_word("read-is-fresh", request.evidence.read_is_fresh);
  add("salt", request.evidence.salt.has_value(), "");
  add("vehicle-reference", !request.evidence.vehicle_reference.empty(),
      printable(request.evidence.vehicle_reference));
  add_file("state", request.state);
  add_file("withdrawals", request.withdrawals);
  add_file("job-list", request.job_list);
  add_file("inclusion", request.inclusion);
  add_file("ledger-head", request.ledger_head);
  add("partners", !request.partners.empty(), names_of(request.partners));
  add_file("newest", request.newest);
  add_word("return", request.declared_return);
  add_word("revive", request.revive);
  add_word("old-base", request.declared_old_base);
  add_word("clock-is-right", request.declared_clock);
}

class Checking {
 public:
  Checking(CheckRequest& request, Verdict& verdict) : request_(request), verdict_(verdict) {}

  Status run() {
    CALSEAL_CHECK(establish_trust());
    CALSEAL_CHECK(gather_order());
    Status status = judge();
    if (!order_.state) return status;
    if (!status || request_.seal_only) {
      remember_look();
    } else {
      remember_acceptance();
    }
    return status;
  }

 private:
  void caution(std::string code, std::string text) {
    verdict_.cautions.push_back({std::move(code), std::move(text)});
  }

  // Whom to believe: the trust file, the way to its root, and what the state says about both.
  Status establish_trust() {
    CALSEAL_ASSIGN(chain_, parse_trust_chain({request_.trust_name, std::move(request_.trust)},
                                             request_.successions, request_.stated_root));
    const TrustFile& trust = chain_.trust;
    order_.trust = &chain_.trust;
    verdict_.shop = trust.shop;
    verdict_.root_fingerprint = spoken_code(Spoken::kKey, compute_key_id(trust.root));
    verdict_.trust_version = trust.version;
    verdict_.trust_time = trust.claimed_time;
    if (request_.stated_root.empty()) {
      verdict_.cautions.push_back(root_not_confirmed(verdict_.root_fingerprint));
    }
    note_age();
    if (request_.state) read_state();
    if (state_) {
      CALSEAL_ASSIGN(order_.state, follow_chain(chain_, *state_, request_.stated_root, request_.trust_name));
    }
    return check_compromised(chain_, order_.state.value_or(CheckerState()), request_.trust_name);
  }

  // Somebody may be keeping newer trust files back.
  void note_age() {
    const auto claimed = parse_time(chain_.trust.claimed_time);
    if (!claimed || request_.now.seconds - claimed->seconds < kTrustAgeLimit) return;
    const std::int64_t days = (request_.now.seconds - claimed->seconds) / 86400;
    caution("trust-file-old", "the trust file is of " + chain_.trust.claimed_time + ", " +
                                  std::to_string(days) +
                                  " days ago: ask the shop whether it has a newer one");
  }

  // The state as a file; empty, and the old file stays, when it would be larger than a reader takes.
  std::string readable_state(const CheckerState& state) {
    if (state.roots.empty()) return {};
    std::string text = write_state(state);
    if (parse_state(view_of(text), request_.state->name)) return text;
    caution("state-full",
            "the state holds as much as it can and was left as it is: this revision is not remembered; "
            "begin a new state for further shops and jobs");
    return {};
  }

  // A state that cannot be read is as good as none, and is never written over.
  void read_state() {
    if (request_.state->bytes.empty()) {
      state_.emplace();
    } else if (Result<CheckerState> state = parse_state(request_.state->bytes, request_.state->name)) {
      state_ = *std::move(state);
    } else {
      caution("state-damaged", "the state was changed or damaged (" + state.error().place + ", found " +
                                   state.error().found + "): it counts for nothing; " + state.error().next);
    }
    if (state_ && state_->roots.empty()) {
      caution("state-new", "no state yet: whether something newer was accepted before cannot be told");
    }
  }

  void learn_given_list(RootState& root) {
    if (order_.withdrawals) learn_list(root, *order_.withdrawals, chain_.trust);
  }

  // A refusal and a look at the seal teach neither a root's successor nor a revision.
  void remember_look() {
    if (RootState* root = root_of_look(*state_, chain_, request_.stated_root)) learn_given_list(*root);
    verdict_.state_after_look = readable_state(*state_);
  }

  void remember_acceptance() {
    CheckerState& state = *order_.state;
    RootState& root = state.entry(compute_key_id(chain_.trust.root));
    learn_given_list(root);
    const bool is_way_back = opened_.manifest.revision == 0;
    // Nobody writes a revision 0 that is in the controller already.
    drop_unused_maps(state);  // of roots that were taken out
    if (is_way_back) remember_revision(state, root);
    verdict_.state_after_look = readable_state(state);
    if (!is_way_back) remember_revision(state, root);
    learn_time(state, request_.now, newest_signed_time(), request_.declared_clock);
    verdict_.state_after_write = readable_state(state);
  }

  void remember_revision(CheckerState& state, RootState& root) {
    if (!learn_revision(root, opened_)) {
      caution("way-back-not-kept",
              "the state keeps as many revisions 0 of this job as it can; this one is not "
              "kept as a way back");
    }
    if (!keep_map(state, opened_.map)) {
      caution("rules-not-kept",
              "the state has no room for this region map: of the next one nobody can tell whether it "
              "allows more");
    }
  }

  std::string newest_signed_time() const {
    std::string newest = std::max(opened_.manifest.claimed_time, chain_.trust.claimed_time);
    if (order_.withdrawals) newest = std::max(newest, order_.withdrawals->claimed_time);
    if (order_.job_list) newest = std::max(newest, order_.job_list->claimed_time);
    return newest;
  }

  // What else the person laid beside the bundle about its place in time.
  Status gather_order() {
    order_.declared_return = request_.declared_return;
    order_.declared_old_base = request_.declared_old_base;
    order_.declared_clock = request_.declared_clock;
    order_.has_read = !request_.read.empty();
    if (order_.state) order_.withdrawn = withdrawn_in_force(*order_.state, chain_.trust);
    if (request_.withdrawals) {
      const std::string& name = request_.withdrawals->name;
      CALSEAL_ASSIGN(order_.withdrawals, parse_withdrawals(request_.withdrawals->bytes, chain_.trust, name));
      if (order_.state) {
        CALSEAL_CHECK(compare_withdrawals(*order_.withdrawals, *order_.state, chain_.trust, name));
        if (is_newer(*order_.withdrawals, *order_.state, chain_.trust)) order_.withdrawn.clear();
      }
      if (order_.withdrawals->fresh_until <= time_text(request_.now)) {
        caution("withdrawals-stale", "the list of withdrawals was fresh until " +
                                         order_.withdrawals->fresh_until + ": ask the shop for a newer one");
      }
    }
    if (request_.job_list) {
      CALSEAL_ASSIGN(order_.job_list,
                     parse_job_list(request_.job_list->bytes, chain_.trust, request_.job_list->name));
    }
    if (request_.inclusion) {
      CALSEAL_ASSIGN(inclusion_, parse_inclusion(request_.inclusion->bytes, request_.inclusion->name));
    }
    if (request_.ledger_head) CALSEAL_CHECK(note_ledger_head());
    if (!request_.newest) return {};
    std::vector<Step> steps = all_steps();
    CALSEAL_ASSIGN(const OpenedBundle newest, open_sealed(std::move(request_.newest->bytes),
                                                          request_.newest->name, context(nullptr), steps));
    order_.newest = NewestRevision{newest.manifest, newest.digest};
    return {};
  }

  // A head decides nothing; whoever keeps it can show later what the ledger held then.
  Status note_ledger_head() {
    const NamedBytes& file = *request_.ledger_head;
    CALSEAL_ASSIGN(verdict_.ledger_head, parse_tree_head(file.bytes, chain_.trust, file.name));
    if (inclusion_ && inclusion_->head != verdict_.ledger_head->tree) {
      caution("inclusion-other-head", "the proof of inclusion leads to another head than the one beside it");
    }
    caution("ledger-head", "the shop's ledger held " + grouped(verdict_.ledger_head->tree.size) +
                               " entries at " + verdict_.ledger_head->claimed_time + " (claimed): keep " +
                               file.name + ", it shows later whether entries were changed");
    return {};
  }

  OpenContext context(const OrderEvidence* order) const {
    OpenContext context;
    context.trust = &chain_.trust;
    context.now = request_.now;
    context.order = order;
    context.inclusion = inclusion_ ? &*inclusion_ : nullptr;
    return context;
  }

  // The lists are of one job and controller; beside another bundle they would say nothing or mislead.
  Status check_belongings() const {
    const Manifest& manifest = opened_.manifest;
    const std::string& controller = manifest.controller().name;
    if (order_.job_list &&
        (order_.job_list->job != manifest.job || order_.job_list->controller != controller)) {
      return fail({Reason::kJobListInvalid, request_.job_list->name, "job",
                   order_.job_list->job + ", " + order_.job_list->controller,
                   manifest.job + ", " + controller, "give the list of this job and controller"});
    }
    if (order_.newest && (order_.newest->manifest.job != manifest.job ||
                          order_.newest->manifest.controller().name != controller)) {
      return fail({Reason::kUsage, request_.newest->name, "newest",
                   "a bundle of job " + order_.newest->manifest.job + ", " +
                       order_.newest->manifest.controller().name,
                   "the newest one of job " + manifest.job + ", " + controller,
                   "give the newest bundle of the same job and controller"});
    }
    return {};
  }

  Status judge() {
    CALSEAL_ASSIGN(opened_, open_sealed(std::move(request_.bundle), request_.bundle_name, context(&order_),
                                        verdict_.steps));
    verdict_.manifest = opened_.manifest;
    verdict_.manifest_digest = opened_.digest;
    verdict_.signers = opened_.signers;
    verdict_.passage = opened_.passage;
    verdict_.cautions.insert(verdict_.cautions.end(), opened_.cautions.begin(), opened_.cautions.end());
    // Before everything else: what the shop may now do that it might not do before.
    std::stable_partition(verdict_.cautions.begin(), verdict_.cautions.end(),
                          [](const Caution& one) { return one.code == "rules-widened"; });
    CALSEAL_CHECK(check_belongings());
    CALSEAL_CHECK(check_partners());
    note_cautions();
    if (request_.seal_only) return {};
    if (!request_.read.empty()) return judge_read();
    if (request_.revive) return revive(opened_, request_.evidence, verdict_);
    return fail({Reason::kReadMissing, request_.bundle_name, "", "no read",
                 "the controller's own read, from before this write",
                 opened_.manifest.revision == 0 ? "give the read; or, when the controller can no longer be "
                                                  "read, revive with the vehicle reference"
                                                : "give the read; to look at the seal alone, ask for that"});
  }

  // A read that does not fit is compared with everything else that was laid beside it, to say what it is.
  Status judge_read() {
    const std::vector<FileShape> shapes = shapes_of(request_.read);
    std::vector<ReadFile> kept;
    if (!partners_.empty()) kept = request_.read;
    Result<Read> read = load_held_read(opened_.map, std::move(request_.read));
    if (!read)
      return fail(
          explain_swapped(explain_unloadable(read.error(), opened_, shapes), opened_, kept, partners_));
    const Status status = rebuild(opened_, *read, request_.evidence, verdict_);
    if (status) return status;
    Error error = explain_misfit(status.error(), opened_, read->image, request_.evidence.salt);
    if (order_.newest)
      error = explain_other_base(std::move(error), opened_, read->image, order_.newest->manifest);
    return fail(explain_swapped(std::move(error), opened_, kept, partners_));
  }

  Status check_partners() {
    OrderEvidence order = order_;
    order.job_list.reset();
    order.newest.reset();
    for (NamedBytes& file : request_.partners) {
      std::vector<Step> steps = all_steps();
      CALSEAL_ASSIGN(OpenedBundle partner,
                     open_sealed(std::move(file.bytes), file.name, context(&order), steps));
      partner.file.clear();
      partner.payload.clear();
      partners_.push_back(std::move(partner));
    }
    return noted(verdict_.steps, "set", judge_set(opened_, partners_, !request_.seal_only, verdict_));
  }

  void note_cautions() {
    const Manifest& manifest = opened_.manifest;
    if (!request_.job_list) {
      caution("newest-unknown",
              "sealed " + manifest.claimed_time +
                  " (claimed); without a network nobody can tell whether a newer revision exists");
    } else if (order_.job_list->find(opened_.digest) == nullptr) {
      caution("list-older", "newer than the shop's list of " + order_.job_list->claimed_time);
    }
    if (!opened_.map.evidence.verified) verdict_.cautions.push_back(map_is_draft(opened_.map));
    if (manifest.trial) caution("trial", "a trial revision; it expires at " + manifest.expires);
    if (opened_.passage == Passage::kWayBack) {
      caution("way-back", "revision 0, after newer revisions: everything that was tuned is taken out");
    }
    if (opened_.passage == Passage::kReturn) {
      caution("return",
              "an earlier revision, permitted by the newest one; the newest stays known as the newest");
    }
    note_left_set();
    const std::vector<Caution> computed = cautions_of(manifest, opened_.map);
    verdict_.cautions.insert(verdict_.cautions.end(), computed.begin(), computed.end());
    for (const std::string& text : manifest.cautions) {
      if (std::ranges::find(computed, text, &Caution::text) == computed.end()) caution("shop", text);
    }
  }

  // A controller that leaves its set leaves partners behind.
  void note_left_set() {
    const Manifest& manifest = opened_.manifest;
    if (!order_.state) return;
    const KeptRevision* newest = newest_accepted(
        known_jobs(*order_.state, chain_.trust, manifest.job, manifest.controller().name), chain_.trust);
    if (newest == nullptr || !newest->set || newest->set == manifest.set) return;
    caution("set-left",
            "the revision accepted before belongs to a set, and this one does not belong to it: the "
            "partner controllers must leave the set too, before the engine is started");
  }

  CheckRequest& request_;
  Verdict& verdict_;
  TrustChain chain_;
  OrderEvidence order_;
  std::optional<InclusionProof> inclusion_;
  OpenedBundle opened_;
  std::vector<OpenedBundle> partners_;
  std::optional<CheckerState> state_;  // as it was read; order_.state is what this chain makes of it
};

}  // namespace

Verdict check_bundle(CheckRequest request) {
  Verdict verdict;
  verdict.steps = all_steps();
  note_evidence(request, verdict);
  if (Status status = Checking(request, verdict).run(); !status) {
    verdict.reason = in_file(std::move(status.error()), request.bundle_name);
    verdict.outcome = Outcome::kRefused;
    verdict.files.clear();
    return verdict;
  }
  verdict.outcome = request.seal_only ? Outcome::kAuthentic : Outcome::kAccepted;
  if (request.seal_only) {
    for (Step& step : verdict.steps) {
      if (step.state == StepState::kNotReached) step.state = StepState::kNotAsked;
    }
  }
  return verdict;
}

Result<Bytes> parse_salt(ByteView file, const std::string& name) {
  std::string_view text = text_of(file);
  if (text.ends_with('\n')) text.remove_suffix(1);
  if (text.ends_with('\r')) text.remove_suffix(1);
  auto salt = from_hex(text);
  if (!salt || salt->size() != kSaltSize) {
    return fail({Reason::kSaltWrong, name, "", std::to_string(text.size()) + " characters",
                 "64 lower-case hexadecimal digits",
                 "use the salt file that the shop gave you for this job"});
  }
  return *std::move(salt);
}

}  // namespace calseal
