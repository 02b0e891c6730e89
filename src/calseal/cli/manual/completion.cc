#include "calseal/cli/manual/completion.h"

#include <string_view>

namespace calseal {
namespace {

// One case per command for each of the three questions that the script asks.
struct Cases {
  std::string words;    // commands and options after this command
  std::string valued;   // options that take a value
  std::string choices;  // values of an option
};

void add_cases(const CommandPage& page, Cases& cases) {
  const std::string path = joined(page.path);
  std::vector<std::string> words, valued;
  for (const CommandPage& command : page.commands) words.push_back(command.path.back());
  for (const CommandOption& option : page.options) {
    for (const std::string& name : option.names) {
      words.push_back(name);
      if (!option.takes_value) continue;
      valued.push_back(name);
      if (option.choices.empty()) continue;
      cases.choices += "    '" + path + " " + name + "') echo '" + joined(option.choices) + "' ;;\n";
    }
  }
  cases.words += "    '" + path + "') echo '" + joined(words) + "' ;;\n";
  if (!valued.empty()) cases.valued += "    '" + path + "') echo '" + joined(valued) + "' ;;\n";
  for (const CommandPage& command : page.commands) add_cases(command, cases);
}

}  // namespace

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : " ") + word;
  return text;
}

std::string replaced(std::string text, std::string_view what, std::string_view with) {
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + with.size()))
    text.replace(at, what.size(), with);
  return text;
}

std::string completion_function(const CommandPage& program) {
  return "_" + replaced(program.path.front(), "-", "_");
}

std::string bash_completion(const CommandPage& program) {
  Cases cases;
  add_cases(program, cases);
  const std::string name = program.path.front(), function = completion_function(program);
  std::string text = "# bash completion of " + name + "; written by `" + name + " completion bash`.\n";
  text += function + "_words() {\n  case \"$1\" in\n" + cases.words + "  esac\n}\n";
  text += function + "_valued() {\n  case \"$1\" in\n" + cases.valued + "  esac\n}\n";
  text += function + "_choices() {\n  case \"$1\" in\n" + cases.choices + "  esac\n}\n";
  const std::string body = R"sh(FUNCTION() {
  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} path='NAME' i next
  for ((i = 1; i < COMP_CWORD; i++)); do
    next=${COMP_WORDS[i]}
    # A word is a command when the path so far has one of that name.
    if [[ $next != -* && " $(FUNCTION_words "$path") " == *" $next "* ]]; then path+=" $next"; fi
  done
  COMPREPLY=()
  if [[ " $(FUNCTION_valued "$path") " == *" $before "* ]]; then
    next=$(FUNCTION_choices "$path $before")
    if [[ -n $next ]]; then
      COMPREPLY=($(compgen -W "$next" -- "$word"))
    else
      compopt -o default 2>/dev/null
    fi
    return 0
  fi
  COMPREPLY=($(compgen -W "$(FUNCTION_words "$path")" -- "$word"))
  # Nothing of ours fits: it is a file.
  if [[ ${#COMPREPLY[@]} -eq 0 ]]; then compopt -o default 2>/dev/null; fi
  return 0
}
complete -F FUNCTION NAME
)sh";
  return text + replaced(replaced(body, "FUNCTION", function), "NAME", name);
}

}  // namespace calseal
