#include "calseal/cli/manual/completion.h"

namespace calseal {
namespace {

std::string fish_quoted(const std::string& text) {
  return "'" + replaced(replaced(text, "\\", "\\\\"), "'", "\\'") + "'";
}

void add_fish_paths(const CommandPage& page, std::string& paths) {
  for (const CommandPage& command : page.commands) {
    paths += " " + fish_quoted(joined(command.path));
    add_fish_paths(command, paths);
  }
}

std::string fish_option(const CommandOption& option) {
  std::string text;
  for (const std::string& name : option.names)
    text += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
  if (!option.takes_value) return text;
  if (!option.choices.empty()) return text + " -x -a " + fish_quoted(joined(option.choices));
  if (option.value.find("FILE") != std::string::npos) return text + " -r -F";
  return text + " -x" + (option.value == "FOLDER" ? " -a '(__fish_complete_directories)'" : "");
}

void add_fish_lines(const CommandPage& page, const std::string& function, std::string& text) {
  const std::string start = "complete -c " + page.path.front() + " -n " +
                            fish_quoted("test (" + function + "_path) = \"" + joined(page.path) + "\"");
  for (const CommandPage& command : page.commands)
    text += start + " -f -a " + command.path.back() + " -d " + fish_quoted(command.description) + "\n";
  for (const CommandOption& option : page.options) {
    if (!option.names.empty())
      text += start + fish_option(option) + " -d " + fish_quoted(option.description) + "\n";
  }
  for (const CommandPage& command : page.commands) add_fish_lines(command, function, text);
}

constexpr const char* kFishPath = R"sh(function FUNCTION_path
  set -l at 'NAME'
  for word in (commandline -opc)[2..-1]
    # A word is a command when the path so far has one of that name.
    if contains -- "$at $word"PATHS
      set at "$at $word"
    end
  end
  echo $at
end
)sh";

}  // namespace

std::string fish_completion(const CommandPage& program) {
  const std::string name = program.path.front(), function = completion_function(program);
  std::string paths;
  add_fish_paths(program, paths);
  std::string text = "# fish completion of " + name + "; written by `" + name + " completion fish`.\n";
  text += replaced(replaced(replaced(kFishPath, "FUNCTION", function), "NAME", name), "PATHS", paths);
  add_fish_lines(program, function, text);
  return text;
}

}  // namespace calseal
