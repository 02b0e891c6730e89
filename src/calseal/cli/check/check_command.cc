#include "calseal/cli/check/check_command.h"

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/cli/check/check_evidence.h"
#include "calseal/cli/check/check_outputs.h"
#include "calseal/cli/check/evidence_files.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/verdict/verdict_report.h"

namespace calseal {
namespace {

int run_check(const CheckOptions& options, const Console& console) {
  std::vector<std::string> outputs = paths_of(options.images);
  if (Status status = judge_check_options(options); !status) return console.fail(status.error());
  for (const std::string* output : {&options.receipt, &options.receipt_key, &options.customer}) {
    if (!output->empty()) outputs.push_back(*output);
  }
  if (!options.state.empty()) outputs.push_back(options.state);
  if (Status status = refuse_clashes(outputs, evidence_paths(options)); !status)
    return console.fail(status.error());
  Progress progress(console, 2);
  progress.begin("reading what was given");
  Result<CheckRequest> request = load_check_request(options);
  if (!request) return console.fail(request.error());
  std::optional<CustomerInCheck> customer;
  if (!options.customer.empty()) {
    Result<CustomerInCheck> loaded = CustomerInCheck::load(options.customer);
    if (!loaded) return console.fail(loaded.error());
    customer = *std::move(loaded);
    customer->fill(*request);
  }
  progress.begin("checking the seal, rebuilding and proving");
  const std::optional<Bytes> salt = request->evidence.salt;
  const UtcTime now = request->now;
  const Verdict verdict = as_told(check_bundle(*std::move(request)));
  if (Status status = write_outputs(options, verdict); !status) return console.fail(status.error());
  const Result<SaidBack> said = customer ? write_customer(options, *customer, verdict, salt, now)
                                         : say_back(options, verdict, salt, now);
  if (!said) return console.fail(said.error());
  console.print_folded(verdict_text(verdict, emphasis_on(console)), kVerdictColumn);
  JsonValue value = verdict_json(verdict);
  if (!options.receipt.empty() || options.receipt_code || customer)
    value.members.emplace_back("receipt", said->value);
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
  app.add_option("BUNDLE", options->bundle, "The sealed bundle (*.calseal)")->takes("FILE")->required();
  add_check_evidence(app, *options);
  app.argument("--trust")->required();
  app.add_option("--image", options->images,
                 "Write the rebuilt image here, in the read's own form, if accepted")
      ->takes("[MEMORY=]FILE");
  app.add_option("--state", options->state,
                 "What was accepted before; made when missing, updated after --image was written")
      ->takes("FILE");
  app.add_option("--customer", options->customer,
                 "Your customer file: it gives the salt and the state, keeps them, and signs the receipt")
      ->takes("FILE");
  app.add_option("--receipt", options->receipt,
                 "Write a signed receipt for the shop (with --customer or --receipt-key)")
      ->takes("FILE");
  app.add_option("--receipt-key", options->receipt_key, "Your own key for receipts; made when missing")
      ->takes("FILE");
  app.add_flag("--receipt-code", options->receipt_code,
               "Print a code that you can read aloud to the shop instead (with --salt or --customer)");
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
      [options, &app, &status](Console& c) -> Result<int> {
        if (app.has_run_subcommand()) return status;  // that one has run
        return run_check(*options, c);
      },
      status);
}

}  // namespace calseal
