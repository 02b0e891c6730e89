#include "calseal/cli/check/check_command.h"

#include <algorithm>
#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/cli/check/check_evidence.h"
#include "calseal/cli/check/evidence_files.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/receipt/receipt_key.h"
#include "calseal/report/verdict/verdict_report.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

struct CheckOptions : CheckEvidence {
  std::string receipt, receipt_key;
  std::vector<std::string> images;
  bool receipt_code = false;
};

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
    fingerprint = spoken_code(Spoken::kKey, compute_key_id(key.public_key()));
    text += "receipt: " + printable(options.receipt) + ": send it back to the shop\n";
    text += std::string(key.is_new() ? "its new key" : "its key") + ": " + fingerprint +
            (key.is_new()
                 ? "\n  read this code aloud to the shop once, and keep " + printable(options.receipt_key)
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
  if (Status status = refuse_clashes(outputs, evidence_paths(options)); !status)
    return console.fail(status.error());
  if (options.seal_only && !options.images.empty()) {
    return console.fail(
        usage("--image with --seal-only", "one of the two", "leave --seal-only out to rebuild an image"));
  }
  Progress progress(console, 2);
  progress.begin("reading what was given");
  Result<CheckRequest> request = load_check_request(options);
  if (!request) return console.fail(request.error());
  progress.begin("checking the seal, rebuilding and proving");
  const std::optional<Bytes> salt = request->evidence.salt;
  const UtcTime now = request->now;
  const Verdict verdict = check_bundle(*std::move(request));
  if (Status status = write_outputs(options, verdict); !status) return console.fail(status.error());
  const Result<SaidBack> said = say_back(options, verdict, salt, now);
  if (!said) return console.fail(said.error());
  console.print_folded(verdict_text(verdict, emphasis_on(console)), kVerdictColumn);
  JsonValue value = verdict_json(verdict);
  if (!options.receipt.empty() || options.receipt_code) value.members.emplace_back("receipt", said->value);
  console.print_json(value);
  if (verdict.outcome == Outcome::kAccepted && !options.images.empty()) {
    console.print("\n");
    for (const std::string& argument : options.images) {
      console.print("written: " + printable(parse_read_argument(argument).name) + "\n");
    }
  }
  console.print_folded(said->text, kVerdictColumn);
  return verdict.reason ? exit_status(verdict.reason->reason) : 0;
}

}  // namespace

void add_check_command(CommandLine& app, Console& console, const std::string& command, int& status) {
  auto options = std::make_shared<CheckOptions>();
  app.add_option("BUNDLE", options->bundle, "The sealed bundle (*.calseal)")->required();
  add_check_evidence(app, *options);
  app.argument("--trust")->required();
  app.add_option("--image", options->images,
                 "[MEMORY=]FILE: write the rebuilt image here, in the read's own form, if accepted");
  app.add_option("--state", options->state,
                 "FILE: what was accepted before; made when missing, updated after --image was written");
  app.add_option("--receipt", options->receipt,
                 "FILE: write a signed receipt for the shop (with --receipt-key)");
  app.add_option("--receipt-key", options->receipt_key, "Your own key for receipts; made when missing");
  app.add_flag("--receipt-code", options->receipt_code,
               "Print a code that you can read aloud to the shop instead (with --salt)");
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
