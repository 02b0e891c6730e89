#include "calseal/cli/check/check_command.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/check/read_bundle.h"
#include "calseal/cli/check/evidence_files.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/receipt/receipt_key.h"
#include "calseal/report/verdict/verdict_report.h"

namespace calseal {
namespace {

struct CheckOptions {
  std::string bundle, trust, root, salt, vehicle, state, withdrawals, job_list, inclusion, newest,
      ledger_head, receipt, receipt_key;
  std::vector<std::string> reads, images, successions, partners;
  bool fresh = false, revive = false, receipt_code = false, seal_only = false, declared_return = false;
};

// A state that is not there yet is a new one; whatever else keeps it from being read is said.
Status load_state(const std::string& path, std::optional<NamedBytes>& file) {
  if (path.empty()) return {};
  Result<Bytes> bytes = read_file(path, kStateSizeLimit);
  if (!bytes && bytes.error().reason != Reason::kFileMissing) return fail(bytes.error());
  file = NamedBytes{printable(path), bytes ? *std::move(bytes) : Bytes()};
  return {};
}

Result<CheckRequest> load(const CheckOptions& options) {
  CheckRequest request;
  request.bundle_name = printable(options.bundle);
  request.trust_name = printable(options.trust);
  request.stated_root = options.root;
  request.revive = options.revive;
  request.seal_only = options.seal_only;
  request.evidence.read_is_fresh = options.fresh;
  request.evidence.vehicle_reference = options.vehicle;
  request.now = current_time();
  CALSEAL_ASSIGN(request.trust, read_file(options.trust, kTrustFileSizeLimit));
  CALSEAL_CHECK(load_files(options.successions, kSuccessionSizeLimit, request.successions));
  const auto chain =
      parse_trust_chain({request.trust_name, request.trust}, request.successions, request.stated_root);
  const TrustFile* const trust = chain ? &chain->trust : nullptr;
  CALSEAL_ASSIGN(request.bundle, read_bundle(options.bundle, trust));
  CALSEAL_ASSIGN(request.read, load_read_files(options.reads));
  request.declared_return = options.declared_return;
  for (const std::string& path : options.partners) {
    CALSEAL_ASSIGN(Bytes bytes, read_bundle(path, trust));
    request.partners.push_back({printable(path), std::move(bytes)});
  }
  CALSEAL_CHECK(load_file(options.withdrawals, kWithdrawalSizeLimit, request.withdrawals));
  CALSEAL_CHECK(load_file(options.job_list, kJobListSizeLimit, request.job_list));
  CALSEAL_CHECK(load_file(options.inclusion, kInclusionSizeLimit, request.inclusion));
  CALSEAL_CHECK(load_file(options.ledger_head, kTreeHeadSizeLimit, request.ledger_head));
  if (!options.newest.empty()) {
    CALSEAL_ASSIGN(Bytes bytes, read_bundle(options.newest, trust));
    request.newest = NamedBytes{printable(options.newest), std::move(bytes)};
  }
  CALSEAL_CHECK(load_state(options.state, request.state));
  CALSEAL_CHECK(load_salt(options.salt, request.evidence.salt));
  return request;
}

Error usage(std::string found, std::string expected, std::string next) {
  return {Reason::kUsage, "", "--image", std::move(found), std::move(expected), std::move(next)};
}

// Which output takes which rebuilt file. Every file must have one: they are committed all or none.
Result<std::vector<PendingFile>> assign_outputs(const CheckOptions& options, const Verdict& verdict) {
  std::vector<PendingFile> pending;
  std::vector<bool> taken(verdict.files.size(), false);
  for (const std::string& argument : options.images) {
    const ReadFile named = parse_read_argument(argument);
    std::size_t at = verdict.files.size();
    for (std::size_t i = 0; i < verdict.files.size(); ++i) {
      const bool fits =
          named.memory.empty() ? verdict.files.size() == 1 : verdict.files[i].memory == named.memory;
      if (fits && !taken[i]) at = i;
    }
    if (at == verdict.files.size()) {
      return fail(usage("\"" + printable(argument) + "\"", "one output for each read, named as the reads are",
                        "write --image MEMORY=FILE for each --read MEMORY=FILE"));
    }
    taken[at] = true;
    pending.push_back({named.name, verdict.files[at].bytes});
  }
  if (!options.images.empty() && !std::ranges::all_of(taken, [](bool t) { return t; })) {
    return fail(usage(
        std::to_string(options.images.size()) + " outputs for " + std::to_string(taken.size()) + " files",
        "an output for every file of the read", "write --image MEMORY=FILE for each --read MEMORY=FILE"));
  }
  return pending;
}

std::vector<std::string> inputs_of(const CheckOptions& options) {
  std::vector<std::string> inputs = paths_of(options.reads);
  inputs.insert(inputs.end(), {options.bundle, options.trust, options.salt, options.withdrawals,
                               options.job_list, options.inclusion, options.newest, options.ledger_head});
  for (const auto* list : {&options.successions, &options.partners}) {
    inputs.insert(inputs.end(), list->begin(), list->end());
  }
  return inputs;
}

// The state comes last: until the files are durable nothing was accepted.
Status write_outputs(const CheckOptions& options, const Verdict& verdict) {
  const bool accepted = verdict.outcome == Outcome::kAccepted;
  if (accepted) {
    CALSEAL_ASSIGN(const std::vector<PendingFile> pending, assign_outputs(options, verdict));
    CALSEAL_CHECK(write_files(pending));
  }
  const bool written = accepted && !options.images.empty();
  const std::string& state = written ? verdict.state_after_write : verdict.state_after_look;
  if (state.empty()) return {};
  Status status = write_file(options.state, view_of(state));
  if (!status && written) {
    status.error().next =
        "the image was written and is good; repair the place of the state, then check again";
  }
  return status;
}

// What the customer says back to the shop.
struct SaidBack {
  std::string text;
  JsonValue value;
};

// Written once everything else stands; a refusal of a bundle whose manifest was read has its receipt too.
Result<SaidBack> say_back(const CheckOptions& options, const Verdict& verdict,
                          const std::optional<Bytes>& salt, UtcTime now) {
  std::string text, fingerprint, spoken;
  const bool known = verdict.manifest.has_value();
  if (!options.receipt.empty() && known) {
    CALSEAL_ASSIGN(const ReceiptKey key, ReceiptKey::obtain(options.receipt_key));
    CALSEAL_ASSIGN(const std::string file, key.sign(receipt_of(verdict, time_text(now))));
    CALSEAL_CHECK(write_file(options.receipt, view_of(file)));
    fingerprint = fingerprint_text(compute_key_id(key.public_key()));
    text += "receipt: " + printable(options.receipt) + ": send it back to the shop\n";
    text += std::string(key.is_new() ? "its new key" : "its key") + ": " + fingerprint +
            (key.is_new() ? "\n  read these ten groups aloud to the shop once, and keep " +
                                printable(options.receipt_key)
                          : "") +
            "\n";
  }
  if (options.receipt_code && known && salt) {
    spoken = receipt_code(verdict.manifest_digest, verdict.outcome, *salt);
    if (!spoken.empty()) text += "code: " + spoken + ": read it aloud to the shop\n";
  }
  return SaidBack{text.empty() ? text : "\n" + text,
                  json_object({{"file", json(printable(known ? options.receipt : "", 16384))},
                               {"key_fingerprint", json(fingerprint)},
                               {"code", json(spoken)}})};
}

Status judge_receipt_options(const CheckOptions& options) {
  if (options.receipt.empty() != options.receipt_key.empty()) {
    return fail({Reason::kUsage, "", "--receipt", "one of two options",
                 "--receipt and --receipt-key together",
                 "name the receipt to write, and the file of your key; a new one is made"});
  }
  if (options.receipt_code && options.salt.empty()) {
    return fail({Reason::kUsage, "", "--receipt-code", "no salt", "--salt beside it", "give the job's salt"});
  }
  return {};
}

int run_check(const CheckOptions& options, const Console& console) {
  std::vector<std::string> outputs = paths_of(options.images);
  if (Status status = judge_receipt_options(options); !status) return console.fail(status.error());
  for (const std::string* output : {&options.receipt, &options.receipt_key}) {
    if (!output->empty()) outputs.push_back(*output);
  }
  if (!options.state.empty()) outputs.push_back(options.state);
  if (Status status = refuse_clashes(outputs, inputs_of(options)); !status)
    return console.fail(status.error());
  if (options.seal_only && !options.images.empty()) {
    return console.fail(
        usage("--image with --seal-only", "one of the two", "leave --seal-only out to rebuild an image"));
  }
  Result<CheckRequest> request = load(options);
  if (!request) return console.fail(request.error());
  const std::optional<Bytes> salt = request->evidence.salt;
  const UtcTime now = request->now;
  const Verdict verdict = check_bundle(*std::move(request));
  if (Status status = write_outputs(options, verdict); !status) return console.fail(status.error());
  const Result<SaidBack> said = say_back(options, verdict, salt, now);
  if (!said) return console.fail(said.error());
  console.print(verdict_text(verdict, emphasis_on(console)));
  JsonValue value = verdict_json(verdict);
  if (!options.receipt.empty() || options.receipt_code) value.members.emplace_back("receipt", said->value);
  console.print_json(value);
  if (verdict.outcome == Outcome::kAccepted && !options.images.empty()) {
    console.print("\n");
    for (const std::string& argument : options.images) {
      console.print("written: " + printable(parse_read_argument(argument).name) + "\n");
    }
  }
  console.print(said->text);
  return verdict.reason ? exit_status(verdict.reason->reason) : 0;
}

}  // namespace

void add_check_command(CLI::App& app, Console& console, const std::string& command, int& status) {
  auto options = std::make_shared<CheckOptions>();
  app.add_option("BUNDLE", options->bundle, "The sealed bundle (*.calseal)")->required();
  app.add_option("--trust", options->trust, "The shop's trust file")->required();
  app.add_option("--root", options->root, "Fingerprint of the shop's root, as the shop read it to you");
  app.add_option("--read", options->reads,
                 "[MEMORY=]FILE: the controller's own read; an earlier revision read back will do");
  app.add_option("--image", options->images,
                 "[MEMORY=]FILE: write the rebuilt image here, in the read's own form, if accepted");
  app.add_option("--salt", options->salt, "The job's salt file, which lets the vehicle be proved");
  app.add_option("--vehicle", options->vehicle, "The vehicle reference that you and the shop use");
  app.add_flag("--read-is-fresh", options->fresh, "Declare: nothing was driven or learned since the read");
  app.add_option("--state", options->state,
                 "FILE: what was accepted before; made when missing, updated after --image was written");
  app.add_option("--withdrawals", options->withdrawals, "The shop's newest list of withdrawals");
  app.add_option("--job-list", options->job_list, "The shop's newest list of this job's revisions");
  app.add_option("--partner", options->partners, "Another bundle of the same set; repeat for each");
  app.add_flag("--return", options->declared_return,
               "Declare: go back to this earlier revision, as the newest accepted one permits");
  app.add_option("--newest", options->newest, "The newest accepted bundle, for --return without --state");
  app.add_option("--succession", options->successions,
                 "How the shop's root was replaced since you were told its fingerprint; oldest first");
  app.add_option("--inclusion", options->inclusion,
                 "Proof from the shop's ledger, for a seal by a key that was stolen later");
  app.add_option("--ledger-head", options->ledger_head,
                 "Head of the shop's ledger that came with the bundle; keep it");
  app.add_option("--receipt", options->receipt,
                 "FILE: write a signed receipt for the shop (with --receipt-key)");
  app.add_option("--receipt-key", options->receipt_key, "Your own key for receipts; made when missing");
  app.add_flag("--receipt-code", options->receipt_code,
               "Print a code that you can read aloud to the shop instead (with --salt)");
  app.add_flag("--revive", options->revive,
               "Declare: write revision 0 whole, without a read (needs --vehicle)");
  app.add_flag("--seal-only", options->seal_only,
               "Look at the seal alone; the verdict is then `authentic`, never `accepted`");
  set_command(
      app, console,
      {command + " r2.calseal --trust shop.trust --salt job.salt --read read.bin --image new.bin",
       command + " r2.calseal --trust shop.trust --salt job.salt --read flash=f.bin --read eeprom=e.bin "
                 "--image flash=nf.bin --image eeprom=ne.bin",
       command +
           " r2.calseal --trust shop.trust --salt job.salt --state job.state --read read.bin --image new.bin",
       command + " r2.calseal --trust shop.trust --seal-only"},
      [options](Console& c) { return run_check(*options, c); }, status);
}

}  // namespace calseal
