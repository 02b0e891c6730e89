#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/statement_options.h"
#include "calseal/sign/list_job.h"
#include "calseal/trust/job_list.h"

namespace calseal {
namespace {

struct JobListOptions : StatementOptions {
  std::vector<std::string> bundles;
};

Result<JobList> make_list(const JobListOptions& options) {
  std::vector<std::string> inputs{options.trust, options.passphrase_file};
  for (const auto* list : {&options.bundles, &options.keys})
    inputs.insert(inputs.end(), list->begin(), list->end());
  CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options.trust));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  std::vector<SealedRevision> revisions;
  for (const std::string& path : options.bundles) {
    CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
    CALSEAL_ASSIGN(SealedRevision revision,
                   open_sealed_revision(std::move(bytes), printable(path), loaded.trust));
    revisions.push_back(std::move(revision));
  }
  CALSEAL_ASSIGN(JobList list, list_job(revisions, compute_key_id(loaded.trust.root), time_text(now)));
  CALSEAL_ASSIGN(const std::vector<PrivateKey> keys, load_keys(options.keys, options.passphrase_file));
  CALSEAL_ASSIGN(const std::string file,
                 seal_job_list(list, SigningKeys(keys.begin(), keys.end()), loaded.trust));
  CALSEAL_CHECK(write_file(options.output, view_of(file), FileMode::kPublic, Existing::kRefuse));
  return list;
}

int run_job_list(const JobListOptions& options, const Console& console) {
  const Result<JobList> list = make_list(options);
  if (!list) return console.fail(list.error());
  std::string text = "made      " + printable(options.output) + "  (" + grouped(list->revisions.size()) +
                     " revisions of job " + list->job + ", " + list->controller + ")\n";
  for (const ListedRevision& one : list->revisions) {
    text += "listed    sequence " + std::to_string(one.sequence) + ", base " + std::to_string(one.base) +
            ", revision " + std::to_string(one.revision) + "\n          " + digest_text(one.digest) + "\n";
  }
  text += "Where the list is given, a revision that is older than its last one and not on it is refused.\n";
  console.print_folded(text, 10);
  console.print_json(json_object({{"calseal", json("job-list-made/1")},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"job", json(list->job)},
                                  {"controller", json(list->controller)},
                                  {"claimed_time", json(list->claimed_time)},
                                  {"revisions", json_array(list->revisions, [](const ListedRevision& one) {
                                     return json_object({{"identity", json_digest(one.digest)},
                                                         {"base", json(one.base)},
                                                         {"revision", json(one.revision)},
                                                         {"sequence", json(one.sequence)}});
                                   })}}));
  return 0;
}

}  // namespace

void add_job_sign_list_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.subcommand("job")->add_subcommand(
      "sign-list", "Sign the list of all revisions of one controller in one job");
  auto o = std::make_shared<JobListOptions>();
  command->add_option("BUNDLE", o->bundles, "All bundles of this job and controller that count")
      ->takes("FILE")
      ->required();
  add_statement_options(*command, *o, "of an author");
  add_shop_option(*command, {kAuthorKeys, kShopTrust});
  set_command(
      *command, console,
      {"calseal job sign-list r0.calseal r1.calseal r2.calseal --key author.key --trust shop.trust "
       "-o oak-17.list"},
      [o](Console& c) { return run_job_list(*o, c); }, status);
}

}  // namespace calseal
