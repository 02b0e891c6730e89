#include "calseal/cli/check/confirm_command.h"

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/check/confirm.h"
#include "calseal/cli/check/evidence_files.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/confirmation/confirmation_report.h"

namespace calseal {
namespace {

struct ConfirmOptions {
  std::string bundle, trust, root, salt, inclusion;
  std::vector<std::string> reads, before, scan, successions;
};

Result<ConfirmRequest> load(const ConfirmOptions& options) {
  ConfirmRequest request;
  request.bundle_name = printable(options.bundle);
  request.trust_name = printable(options.trust);
  request.stated_root = options.root;
  for (const std::string& argument : options.scan) {
    CALSEAL_ASSIGN(ScanValue value, parse_scan_argument(argument));
    request.evidence.scan.push_back(std::move(value));
  }
  CALSEAL_ASSIGN(request.trust, read_file(options.trust, kTrustFileSizeLimit));
  CALSEAL_ASSIGN(request.bundle, read_file(options.bundle, kBundleSizeLimit));
  CALSEAL_ASSIGN(request.evidence.after, load_read_files(options.reads));
  CALSEAL_ASSIGN(request.evidence.before, load_read_files(options.before));
  CALSEAL_CHECK(load_files(options.successions, kSuccessionSizeLimit, request.successions));
  CALSEAL_CHECK(load_file(options.inclusion, kInclusionSizeLimit, request.inclusion));
  CALSEAL_CHECK(load_salt(options.salt, request.evidence.salt));
  return request;
}

int run_confirm(const ConfirmOptions& options, const Console& console) {
  const Progress progress(console, "comparing with what was sealed");
  Result<ConfirmRequest> request = load(options);
  if (!request) return console.fail(request.error());
  const Confirmation confirmation = as_told(confirm_bundle(*std::move(request)));
  // Wrong usage that only the bundle could tell is still wrong usage, not a finding.
  if (confirmation.reason && confirmation.reason->reason == Reason::kUsage)
    return console.fail(*confirmation.reason);
  console.print_folded(confirmation_text(confirmation, emphasis_on(console)), kConfirmationColumn);
  console.print_json(confirmation_json(confirmation));
  if (confirmation.reason) return exit_status(confirmation.reason->reason);
  return confirmation.confirmed() ? 0 : 1;
}

}  // namespace

void add_confirm_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command =
      app.add_subcommand("confirm", "After the write: does the controller hold the revision?");
  auto options = std::make_shared<ConfirmOptions>();
  command->add_option("BUNDLE", options->bundle, "The bundle that was written (*.calseal)")
      ->takes("FILE")
      ->required();
  command->add_option("--trust", options->trust, "The shop's trust file")->takes("FILE")->required();
  command->add_option("--root", options->root, "Fingerprint of the shop's root, as the shop read it to you")
      ->takes("FINGERPRINT");
  command->add_option("--read", options->reads, "What was read back after the write")->takes("[MEMORY=]FILE");
  command
      ->add_option("--before", options->before, "The read from before the write; tells old bytes one by one")
      ->takes("[MEMORY=]FILE");
  command
      ->add_option("--scan", options->scan,
                   "What a scan tool reports, where reading back is impossible; NAME is an "
                   "identity field of the region map")
      ->takes("NAME=VALUE");
  command->add_option("--salt", options->salt, "The job's salt file, which lets the vehicle be proved")
      ->takes("FILE");
  command
      ->add_option("--succession", options->successions,
                   "How the shop's root was replaced since you were told its fingerprint; oldest first")
      ->takes("FILE");
  command
      ->add_option("--inclusion", options->inclusion,
                   "Proof from the shop's ledger, for a seal by a key that was stolen later")
      ->takes("FILE");
  set_command(
      *command, console,
      {"calseal confirm r2.calseal --trust shop.trust --salt job.salt --read after.bin",
       "calseal confirm r2.calseal --trust shop.trust --read flash=f.bin --read eeprom=e.bin --before "
       "flash=old-f.bin --before eeprom=old-e.bin",
       "calseal confirm r2.calseal --trust shop.trust --scan calibration-verification-number=1A2B3C4D"},
      [options](Console& c) { return run_confirm(*options, c); }, status);
}

}  // namespace calseal
