#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/seal_as_told.h"
#include "calseal/cli/shop/seal_summary.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

std::vector<std::string> inputs_of(const SealOptions& options) {
  std::vector<std::string> inputs = {options.regions,    options.base_bundle,    options.parent,
                                     options.salt,       options.trust,          options.set,
                                     options.notes_file, options.passphrase_file};
  for (const auto* list : {&options.bases, &options.images}) {
    for (std::string& path : paths_of(*list)) inputs.push_back(std::move(path));
  }
  for (const auto* list : {&options.keys, &options.attachments, &options.option_files, &options.approvals})
    inputs.insert(inputs.end(), list->begin(), list->end());
  return inputs;
}

int run_seal(const SealOptions& options, const std::string& tool, const Console& console) {
  if (options.output.empty() && !options.dry_run) {
    return console.fail(
        usage_error("--output", "no output", "--output FILE, or --dry-run", "give the bundle a name"));
  }
  std::vector<std::string> outputs;
  for (const std::string& output : {options.output, options.new_salt}) {
    if (!output.empty()) outputs.push_back(output);
  }
  if (Status status = refuse_clashes(outputs, inputs_of(options)); !status)
    return console.fail(status.error());
  const Result<Sealed> sealed = seal_as_told(options, tool, console);
  if (!sealed) return console.fail(sealed.error());
  if (!options.dry_run) {
    const std::string salt = sealed->salt ? to_hex(*sealed->salt) + "\n" : "";
    std::vector<PendingFile> files{{options.output, sealed->bundle.file}};
    if (!options.new_salt.empty())
      files.push_back({options.new_salt, view_of(salt), FileMode::kPrivate, Existing::kRefuse});
    if (Status status = write_files(files); !status) return console.fail(status.error());
  }
  const std::string name = options.dry_run ? "nothing: this was a dry run" : printable(options.output);
  console.print(seal_summary(sealed->bundle, name));
  console.print_json(
      seal_summary_json(sealed->bundle, options.dry_run ? "" : printable(options.output, kShownPathLimit)));
  return 0;
}

}  // namespace

void add_seal_command(CommandLine& app, Console& console, const std::string& tool, int& status) {
  CommandLine* command =
      app.add_subcommand("seal", "Prove a revision, sign it, and check the result before it is written");
  auto o = std::make_shared<SealOptions>();
  add_seal_options(*command, *o);
  set_command(
      *command, console,
      {"calseal seal --job oak-17 --regions engine.json --base flash=f.bin --base eeprom=e.bin --vehicle "
       "\"blue estate\" "
       "--new-salt oak-17.salt --key author.key --trust shop.trust -o r0.calseal",
       "calseal seal --base-bundle r0.calseal --image flash=edited.bin --correct --salt oak-17.salt --title "
       "\"first tune\" "
       "--key author.key --trust shop.trust -o r1.calseal",
       "calseal seal --base-bundle r0.calseal --parent r1.calseal --image flash=edited2.bin --correct --salt "
       "oak-17.salt "
       "--key author.key --trust shop.trust -o r2.calseal"},
      [o, tool](Console& c) { return run_seal(*o, tool, c); }, status);
}

}  // namespace calseal
