#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/report/bundle/bundle_report.h"

namespace calseal {
namespace {

struct ShowOptions {
  std::string bundle;
  bool manifest = false;
};

Result<OpenedBundle> open_to_show(const std::string& path) {
  CALSEAL_ASSIGN(Bytes file, read_file(path, kBundleSizeLimit));
  return open_unverified(std::move(file), printable(path));
}

int run(const ShowOptions& options, const Console& console) {
  const Result<OpenedBundle> opened = open_to_show(options.bundle);
  if (!opened) return console.fail(opened.error());
  if (options.manifest) {
    console.print(raw_manifest(*opened));
    console.note(std::string(kNotVerified) + "\n");
    return 0;
  }
  console.print(bundle_text(*opened, page_for(console)));
  console.print_json(bundle_json(*opened));
  return 0;
}

}  // namespace

void add_show_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand("show", "Show what a bundle claims, without verifying it");
  auto options = std::make_shared<ShowOptions>();
  command->add_option("BUNDLE", options->bundle, "The bundle (*.calseal)")->takes("FILE")->required();
  Argument* manifest =
      command->add_flag("--manifest", options->manifest,
                        "Only the manifest, byte for byte as it stands in the file (not escaped)");
  set_command(
      *command, console,
      {"calseal show r2.calseal", "calseal show r2.calseal --json",
       "calseal show r2.calseal --manifest | sha256sum"},
      [options](Console& c) { return run(*options, c); }, status);
  manifest->excludes(command->argument("--json"));
}

}  // namespace calseal
