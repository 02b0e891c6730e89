#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/command_tree.h"
#include "calseal/cli/manual/completion.h"
#include "calseal/cli/manual/man_page.h"
#include "calseal/cli/manual/manual_commands.h"

namespace calseal {
namespace {

struct ManualOptions {
  std::string folder;
};

struct CompletionOptions {
  std::string shell;
};

struct Page {
  std::string name, text;
};

void add_pages(const CommandPage& command, const std::string& version, std::vector<Page>& pages) {
  pages.push_back({man_page_name(command), man_page(command, version)});
  for (const CommandPage& below : command.commands) add_pages(below, version, pages);
}

}  // namespace

void add_manual_command(CommandLine& app, Console& console, const std::string& version, int& status) {
  CommandLine* command = app.add_subcommand("manual", "Write the man pages of all commands");
  auto options = std::make_shared<ManualOptions>();
  command->add_option("-o,--output", options->folder, "Folder that the pages go to")
      ->takes("FOLDER")
      ->required();
  set_command(
      *command, console, {"calseal manual -o /usr/local/share/man/man1"},
      [&app, options, version](Console& out) -> Result<int> {
        std::vector<Page> pages;
        add_pages(describe_commands(app), version, pages);
        std::vector<PendingFile> files;
        for (const Page& page : pages)
          files.push_back({options->folder + "/" + page.name, view_of(page.text)});
        CALSEAL_CHECK(write_files(files));
        out.print(std::to_string(pages.size()) + " pages written to " + options->folder + "\n");
        out.print_json(
            json_object({{"calseal", json("manual/1")},
                         {"pages", json_array(pages, [](const Page& page) { return json(page.name); })}}));
        return 0;
      },
      status);
}

void add_completion_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand("completion", "Print completion for bash, zsh or fish");
  auto options = std::make_shared<CompletionOptions>();
  command->add_option("SHELL", options->shell, "bash, zsh or fish")
      ->required()
      ->one_of({"bash", "fish", "zsh"});
  set_command(
      *command, console,
      {"calseal completion bash > ~/.local/share/bash-completion/completions/calseal",
       "calseal completion zsh > ~/.zfunc/_calseal",
       "calseal completion fish > ~/.config/fish/completions/calseal.fish"},
      [&app, options](Console& out) -> Result<int> {
        const CommandPage program = describe_commands(app);
        const std::string& shell = options->shell;
        const std::string script = shell == "bash"  ? bash_completion(program)
                                   : shell == "zsh" ? zsh_completion(program)
                                                    : fish_completion(program);
        out.print(script);
        out.print_json(json_object(
            {{"calseal", json("completion/1")}, {"shell", json(shell)}, {"script", json(script)}}));
        return 0;
      },
      status);
}

}  // namespace calseal
