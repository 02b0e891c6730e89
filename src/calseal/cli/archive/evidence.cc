#include "calseal/evidence/evidence.h"

#include <filesystem>
#include <memory>
#include <set>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/archive/archive_commands.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/report/evidence/evidence_report.h"

namespace calseal {
namespace {

struct EvidenceOptions : EvidenceRequest {
  std::string output, tool;
};

// Every folder that the files need, an outer one before those in it.
std::vector<std::string> folders_of(const std::vector<NewFile>& files) {
  std::set<std::string> folders;
  for (const NewFile& file : files) {
    for (std::size_t slash = file.path.find('/'); slash != std::string::npos;
         slash = file.path.find('/', slash + 1))
      folders.insert(file.path.substr(0, slash));
  }
  return {folders.begin(), folders.end()};
}

// As sha256sum writes and reads it (coreutils: a backslash in front where a name is escaped).
std::string sums_of(const std::vector<NewFile>& files) {
  std::string text;
  for (const NewFile& file : files) {
    std::string name;
    for (const char c : file.path)
      name += c == '\\'   ? std::string("\\\\")
              : c == '\n' ? std::string("\\n")
              : c == '\r' ? std::string("\\r")
                          : std::string(1, c);
    text += (name == file.path ? "" : "\\") + digest_text(compute_sha256(file.bytes)) + "  " + name + "\n";
  }
  return text;
}

// A folder in the job's own would be part of the next evidence.
Status refuse_inside(const EvidenceOptions& options) {
  std::error_code code;
  const std::string job = std::filesystem::weakly_canonical(options.job, code).string() + "/";
  const std::string output = std::filesystem::weakly_canonical(options.output, code).string() + "/";
  if (!output.starts_with(job)) return {};
  return fail(
      usage_error("-o", printable(options.output), "a folder outside of the job's", "choose another place"));
}

Result<int> run(EvidenceOptions options, const Console& console) {
  CALSEAL_CHECK(refuse_inside(options));
  if (exists(options.output)) {
    return fail({Reason::kOutputExists, printable(options.output), "", "something of that name",
                 "nothing yet", "choose another name, or move it away"});
  }
  CALSEAL_ASSIGN(options.job, find_controller_folder(options.job));
  Progress progress(console, 2);
  progress.begin("reading and proving the job");
  CALSEAL_ASSIGN(JobEvidence evidence, gather_evidence(options));
  progress.begin("writing the folder");
  const JsonValue summary = evidence_json(evidence);
  add_text(evidence, "README.txt", evidence_readme(evidence));
  add_text(evidence, "VERIFY.txt", evidence_by_hand(evidence));
  add_text(evidence, "evidence.html", evidence_html(evidence, options.tool));
  add_text(evidence, "evidence.json", canonical_json(summary) + "\n");
  std::ranges::sort(evidence.files, {}, &NewFile::path);
  const std::string sums = sums_of(evidence.files);
  add_text(evidence, "SHA256SUMS", sums);
  CALSEAL_CHECK(make_folder(options.output, folders_of(evidence.files), evidence.files));
  progress.end();
  const Page page = page_for(console);
  console.print(
      evidence_text(evidence, page) + labelled(page, "written", printable(options.output, kShownPathLimit)) +
      labelled(page, "SHA256SUMS",
               digest_text(compute_sha256(view_of(sums))) +
                   ": write it down, or have it stamped; VERIFY.txt says how to verify the folder"));
  JsonValue value = summary;
  value.members.emplace_back("output", json(printable(options.output, kShownPathLimit)));
  value.members.emplace_back("files", json(std::uint64_t{evidence.files.size()}));
  value.members.emplace_back("sums_digest", json_digest(compute_sha256(view_of(sums))));
  console.print_json(value);
  return evidence.findings.empty() && !evidence.job_fault && !evidence.ledger_fault ? 0 : 1;
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
  command->add_option("JOB", o->job, "The folder of a job's controller, or of a job with one controller")
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
       "calseal evidence oak-17 --trust shop.trust --ledger shop-ledger --earlier-trust 2025.trust -o "
       "oak-17-evidence"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
