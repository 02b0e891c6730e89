#include "calseal/cli/manual/completion.h"

namespace calseal {
namespace {

std::string zsh_quoted(const std::string& text) { return "'" + replaced(text, "'", "'\\''") + "'"; }

// "word:what it is", as _describe takes it.
std::string zsh_described(const std::string& word, const std::string& description) {
  return " " + zsh_quoted(replaced(word, ":", "\\:") + ":" + description);
}

struct ZshCases {
  std::string commands, options;  // after this command
  std::string values;             // what an option takes: words to choose from, or FILE, FOLDER, TEXT
};

void add_zsh_cases(const CommandPage& page, ZshCases& cases) {
  const std::string path = joined(page.path);
  std::string commands, options;
  for (const CommandPage& command : page.commands)
    commands += zsh_described(command.path.back(), command.description);
  for (const CommandOption& option : page.options) {
    std::string patterns;
    for (const std::string& name : option.names) {
      options += zsh_described(name, option.description);
      patterns += (patterns.empty() ? "" : "|") + zsh_quoted(path + " " + name);
    }
    if (patterns.empty() || !option.takes_value) continue;
    const std::string value = option.choices.empty() ? option.value : joined(option.choices);
    cases.values += "    " + patterns + ") value=" + zsh_quoted(value) + " ;;\n";
  }
  if (!commands.empty())
    cases.commands += "    " + zsh_quoted(path) + ") words_here=(" + commands + " ) ;;\n";
  cases.options += "    " + zsh_quoted(path) + ") words_here=(" + options + " ) ;;\n";
  for (const CommandPage& command : page.commands) add_zsh_cases(command, cases);
}

constexpr const char* kZshBody = R"sh(FUNCTION() {
  local at='NAME' word value i
  local -a words_here
  for ((i = 2; i < CURRENT; i++)); do
    word=${words[i]}
    words_here=()
    FUNCTION_commands "$at"
    # A word is a command when the path so far has one of that name.
    if [[ $word != -* && -n ${(M)words_here:#$word:*} ]]; then at+=" $word"; fi
  done
  FUNCTION_value "$at" "${words[CURRENT-1]}"
  case $value in
    '') ;;
    *FILE*) compset -P '*='; _files; return ;;
    FOLDER) _files -/; return ;;
    [A-Z0-9]*) _message "$value"; return ;;
    *) compadd -- ${=value}; return ;;
  esac
  words_here=()
  if [[ ${words[CURRENT]} == -* ]]; then
    FUNCTION_options "$at"
    _describe 'option' words_here
    return
  fi
  FUNCTION_commands "$at"
  if (( $#words_here )); then _describe 'command' words_here; else compset -P '*='; _files; fi
}
if [[ $funcstack[1] == FUNCTION ]]; then FUNCTION "$@"; else compdef FUNCTION NAME; fi
)sh";

}  // namespace

std::string zsh_completion(const CommandPage& program) {
  ZshCases cases;
  add_zsh_cases(program, cases);
  const std::string name = program.path.front(), function = completion_function(program);
  std::string text = "#compdef " + name + "\n# Written by `" + name + " completion zsh`.\n";
  text += function + "_commands() {\n  case \"$1\" in\n" + cases.commands + "  esac\n}\n";
  text += function + "_options() {\n  case \"$1\" in\n" + cases.options + "  esac\n}\n";
  text += function + "_value() {\n  value=\n  case \"$1 $2\" in\n" + cases.values + "  esac\n}\n";
  return text + replaced(replaced(kZshBody, "FUNCTION", function), "NAME", name);
}

}  // namespace calseal
