#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/open.h"
#include "calseal/check/read_bundle.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/append.h"
#include "calseal/ledger/token.h"
#include "calseal/report/ledger/ledger_report.h"
#include "calseal/trust/tree_head.h"

namespace calseal {

Result<LoadedRevision> load_revision(const std::string& path, const TrustFile& trust) {
  CALSEAL_ASSIGN(Bytes bytes, read_bundle(path, &trust));
  const Sha256 file_digest = compute_sha256(bytes);
  OpenContext context;
  context.trust = &trust;
  context.roles = RolesRule::kMayBeMissing;
  std::vector<Step> steps = all_steps();
  CALSEAL_ASSIGN(OpenedBundle opened, open_sealed(std::move(bytes), printable(path), context, steps));
  return LoadedRevision{std::move(opened.manifest), opened.digest, file_digest};
}

Result<TreeHead> load_head(const std::string& path, const TrustFile& trust) {
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, kTreeHeadSizeLimit));
  CALSEAL_ASSIGN(const SignedHead head, parse_tree_head(bytes, trust, printable(path)));
  return head.tree;
}

Result<std::vector<TreeHead>> load_heads(const std::vector<std::string>& paths, const TrustFile& trust) {
  std::vector<TreeHead> heads;
  for (const std::string& path : paths) {
    CALSEAL_ASSIGN(const TreeHead head, load_head(path, trust));
    heads.push_back(head);
  }
  return heads;
}

Result<std::vector<NamedBytes>> load_authorities_of(const std::vector<std::string>& paths) {
  std::vector<NamedBytes> files;
  for (const std::string& path : paths) {
    CALSEAL_ASSIGN(Bytes bytes, read_file(path, kCertificateSizeLimit));
    files.push_back({printable(path), std::move(bytes)});
  }
  return files;
}

namespace {

struct FolderOptions {
  std::string folder;
};

Result<int> run_new(const FolderOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const Sha256 id, create_ledger(options.folder));
  const Page page = page_for(console);
  console.print(
      "made a ledger in " + printable(options.folder) + "\n" + labelled(page, "id", digest_text(id)) +
      "Keep one ledger for the whole shop, on a local disk, and copy its folder with your other backups.\n");
  console.print_json(json_object({{"calseal", json("ledger-new/1")},
                                  {"ledger", json(printable(options.folder, kShownPathLimit))},
                                  {"id", json_digest(id)}}));
  return 0;
}

Result<int> run_repair(const FolderOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const TreeHead head, repair_ledger(options.folder));
  console.print("wrote the tip of " + printable(options.folder) + " again\n" +
                labelled(page_for(console), "head", tree_head_text(head)) +
                "Hold it against heads that customers keep: calseal ledger verify --head FILE.\n");
  console.print_json(json_object({{"calseal", json("ledger-repair/1")},
                                  {"ledger", json(printable(options.folder, kShownPathLimit))},
                                  {"head", tree_head_json(head)}}));
  return 0;
}

}  // namespace

void add_ledger_new_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command = ledger.add_subcommand("new", "Make an empty ledger");
  auto o = std::make_shared<FolderOptions>();
  command->add_option("LEDGER", o->folder, "The folder to make")->takes("FOLDER")->required();
  set_command(
      *command, console, {"calseal ledger new shop-ledger"}, [o](Console& c) { return run_new(*o, c); },
      status);
}

void add_ledger_repair_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command = ledger.add_subcommand(
      "repair", "Write a lost or damaged tip again, from entries that all kept heads hold on");
  auto o = std::make_shared<FolderOptions>();
  command->add_option("LEDGER", o->folder, "The ledger's folder")->takes("FOLDER")->required();
  set_command(
      *command, console, {"calseal ledger repair shop-ledger"}, [o](Console& c) { return run_repair(*o, c); },
      status);
}

void add_ledger_command(CommandLine& app, Console& console, int& status) {
  CommandLine* ledger =
      app.add_subcommand("ledger", "The shop's append-only list of what happened to every revision");
  ledger->require_subcommand();
  for (const auto add :
       {add_ledger_new_command, add_ledger_append_command, add_ledger_head_command, add_ledger_verify_command,
        add_ledger_show_command, add_ledger_prove_command, add_ledger_check_proof_command,
        add_ledger_stamp_command, add_ledger_erase_command, add_ledger_repair_command}) {
    add(*ledger, console, status);
  }
}

}  // namespace calseal
