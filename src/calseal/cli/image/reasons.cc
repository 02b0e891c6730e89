#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/image/page_for.h"

namespace calseal {
namespace {

struct ReasonsOptions {
  bool markdown = false;
};

std::string markdown_text() {
  std::string text =
      "# Reasons\n\n"
      "Every refusal, finding and failure of calseal ends in one of these. The code is stable: it is never "
      "reused or renamed, and\n"
      "programs should look at nothing else. The exit status follows from it. Order is by layer, then by the "
      "order of the checks\n"
      "in which a reason can appear.\n\n"
      "This page is printed by `calseal reasons --markdown`, and a test compares the two.\n\n"
      "| code | exit | meaning | chosen when |\n| --- | --- | --- | --- |\n";
  for (const ReasonInfo& row : all_reasons()) {
    text += "| `" + std::string(row.code) + "` | " + std::to_string(exit_status(row.reason)) + " | " +
            std::string(row.meaning) + " | " + std::string(row.when) + " |\n";
  }
  return text;
}

std::string plain_text(const Page& page) {
  Columns columns;
  columns.add(
      {{"code", Mark::kDim}, {"exit", Mark::kDim, true}, {"meaning, and when it is chosen", Mark::kDim}});
  for (const ReasonInfo& row : all_reasons()) {
    columns.add({{std::string(row.code)},
                 {std::to_string(exit_status(row.reason)), Mark::kPlain, true},
                 {std::string(row.meaning)}});
    columns.add({{""}, {""}, {std::string(row.when), Mark::kDim}});
  }
  return columns.text(page, 0);
}

JsonValue reasons_json() {
  return json_object(
      {{"calseal", json("reasons/1")}, {"reasons", json_array(all_reasons(), [](const ReasonInfo& row) {
                                          return json_object({{"code", json(row.code)},
                                                              {"exit", json(exit_status(row.reason))},
                                                              {"meaning", json(row.meaning)},
                                                              {"when", json(row.when)}});
                                        })}});
}

int run(const ReasonsOptions& options, const Console& console) {
  console.print(options.markdown ? markdown_text() : plain_text(page_for(console)));
  console.print_json(reasons_json());
  return 0;
}

}  // namespace

void add_reasons_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command =
      app.add_subcommand("reasons", "List every reason that calseal can give, with its code and exit status");
  auto options = std::make_shared<ReasonsOptions>();
  Argument* markdown = command->add_flag("--markdown", options->markdown, "As the page docs/reasons.md");
  set_command(
      *command, console,
      {"calseal reasons", "calseal reasons --json", "calseal reasons --markdown > docs/reasons.md"},
      [options](Console& c) { return run(*options, c); }, status);
  markdown->excludes(command->argument("--json"));
}

}  // namespace calseal
