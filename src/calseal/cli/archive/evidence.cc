#include "calseal/evidence/evidence.h"

#include <filesystem>
#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/archive/archive_commands.h"
#include "calseal/cli/archive/evidence_folder.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

struct EvidenceOptions : EvidenceRequest {
  std::string output, tool;
};

// A folder in the job's own would be part of the next evidence.
Status refuse_inside(const EvidenceOptions& options) {
  std::error_code code;
  const std::string job = std::filesystem::weakly_canonical(options.job, code).string() + "/";
  const std::string output = std::filesystem::weakly_canonical(options.output, code).string() + "/";
  if (!output.starts_with(job)) return {};
  return fail(
      usage_error("-o", printable(options.output), "a folder outside of the job's", "choose another place"));
}

Result<EvidenceFolder> make_evidence(const EvidenceOptions& options, const Page& page) {
  CALSEAL_ASSIGN(const bool vehicle, is_of_vehicle(options.job));
  if (vehicle) {
    CALSEAL_ASSIGN(VehicleEvidence evidence, gather_vehicle_evidence(options));
    return folder_of(std::move(evidence), options.tool, page);
  }
  CALSEAL_ASSIGN(JobEvidence evidence, gather_evidence(options));
  return folder_of(std::move(evidence), options.tool, page);
}

Result<int> run(const EvidenceOptions& options, const Console& console) {
  CALSEAL_CHECK(refuse_inside(options));
  if (exists(options.output)) {
    return fail({Reason::kOutputExists, printable(options.output), "", "something of that name",
                 "nothing yet", "choose another name, or move it away"});
  }
  if (!exists(options.job)) {
    return fail({Reason::kFileMissing, printable(options.job), "", "no folder of that name",
                 "a job's folder, or the folder of one controller in it",
                 "name the folder that calseal job new made"});
  }
  const Page page = page_for(console);
  Progress progress(console, 2);
  progress.begin("reading and proving the job");
  CALSEAL_ASSIGN(const EvidenceFolder made, make_evidence(options, page));
  progress.begin("writing the folder");
  CALSEAL_CHECK(make_folder(options.output, folders_of(made.files), made.files));
  progress.end();
  const Sha256 sums = compute_sha256(made.files.back().bytes);
  console.print(
      made.text + labelled(page, "written", printable(options.output, kShownPathLimit)) +
      labelled(page, "SHA256SUMS",
               digest_text(sums) +
                   ": write it down, or have it stamped; VERIFY.txt says how to verify the folder"));
  JsonValue value = made.summary;
  value.members.emplace_back("output", json(printable(options.output, kShownPathLimit)));
  value.members.emplace_back("files", json(std::uint64_t{made.files.size()}));
  value.members.emplace_back("sums_digest", json_digest(sums));
  console.print_json(value);
  return made.sound ? 0 : 1;
}

}  // namespace

void add_evidence_command(CommandLine& app, Console& console, const std::string& tool, int& status) {
  CommandLine* command = app.add_subcommand(
      "evidence",
      "Write one folder about a job for an expert: files, proofs, and how to verify them by hand");
  auto o = std::make_shared<EvidenceOptions>();
  o->tool = tool;
  const auto repeatable = [&](const char* name, std::vector<std::string>& into, const char* text) {
    command->add_option(name, into, text)->takes("FILE")->one_each();
  };
  command
      ->add_option("JOB", o->job,
                   "The job's folder: the whole vehicle; or the folder of one controller in it")
      ->takes("FOLDER")
      ->required();
  command->add_option("--trust", o->trust, "The shop's newest trust file")->takes("FILE")->required();
  command
      ->add_option("--root", o->stated_root,
                   "The root's fingerprint as the shop read it aloud, or its key id")
      ->takes("FINGERPRINT");
  repeatable("--earlier-trust", o->earlier_trust,
             "An earlier trust file, for the history of the keys (repeatable)");
  repeatable("--succession", o->successions,
             "A succession that led to this root, the oldest first (repeatable)");
  command->add_option("--ledger", o->ledger, "The ledger's folder (default: the one that the job reports to)")
      ->takes("FOLDER");
  command->add_option("--withdrawals", o->withdrawals, "The shop's newest list of withdrawals")
      ->takes("FILE");
  command->add_flag("--with-salt", o->with_salt, "Takes the job's salt along: with it a VIN can be tested");
  command->add_option("-o,--output", o->output, "The folder to make; nothing may be there yet")
      ->takes("FOLDER")
      ->required();
  set_command(
      *command, console,
      {"calseal evidence oak-17 --trust shop.trust --root \"64785 03376 ...\" -o oak-17-evidence",
       "calseal evidence oak-17/engine --trust shop.trust --ledger shop-ledger --earlier-trust 2025.trust -o "
       "oak-17-evidence"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
