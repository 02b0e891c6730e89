#include "calseal/cli/console/wrong_word.h"

#include <algorithm>

#include "calseal/base/near_words.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

std::string joined(const std::vector<std::string>& path) {
  std::string text;
  for (const std::string& word : path) text += (text.empty() ? "" : " ") + word;
  return text;
}

const CommandPage* find_command(const CommandPage& page, const std::string& name) {
  const auto found = std::find_if(page.commands.begin(), page.commands.end(),
                                  [&](const CommandPage& one) { return one.path.back() == name; });
  return found == page.commands.end() ? nullptr : &*found;
}

const CommandOption* find_option(const CommandPage& page, const std::string& name) {
  const auto found = std::find_if(page.options.begin(), page.options.end(), [&](const CommandOption& option) {
    return std::find(option.names.begin(), option.names.end(), name) != option.names.end();
  });
  return found == page.options.end() ? nullptr : &*found;
}

bool takes_other_words(const CommandPage& page) {
  return page.commands.empty() ||
         std::any_of(page.options.begin(), page.options.end(),
                     [](const CommandOption& option) { return option.names.empty(); });
}

// Commands of this name anywhere in the program, as they are typed: "calseal job status" for "status".
void find_elsewhere(const CommandPage& page, const std::string& name, std::vector<std::string>& found) {
  if (page.path.back() == name) found.push_back(joined(page.path));
  for (const CommandPage& command : page.commands) find_elsewhere(command, name, found);
}

Error wrong(const CommandPage& page, const std::string& kind, const std::string& word,
            const std::vector<std::string>& near) {
  const std::string command = joined(page.path), question = did_you_mean(near);
  return {Reason::kUsage,
          "",
          "",
          "the " + kind + " \"" + printable(word, 80) + "\"",
          (kind == "option" ? "an option of " : "a command of ") + command,
          (question.empty() ? "" : question + " ") + command + " --help lists them"};
}

Error wrong_command(const CommandPage& program, const CommandPage& page, const std::string& word) {
  std::vector<std::string> names, near;
  find_elsewhere(program, word, near);
  for (const CommandPage& command : page.commands) names.push_back(command.path.back());
  if (near.empty()) near = near_words(word, names);
  return wrong(page, "command", word, near);
}

Error wrong_option(const CommandPage& page, const std::string& word) {
  std::vector<std::string> names;
  for (const CommandOption& option : page.options)
    names.insert(names.end(), option.names.begin(), option.names.end());
  return wrong(page, "option", word, near_words(word, names));
}

// "--name" of "--name=value", "-o" of "-oFILE"
std::string name_in(const std::string& word) {
  return word.starts_with("--") ? word.substr(0, word.find('=')) : word.substr(0, 2);
}

}  // namespace

std::optional<Error> find_wrong_word(const CommandPage& program, const std::vector<std::string>& words) {
  const CommandPage* page = &program;
  for (std::size_t i = 0; i < words.size() && words[i] != "--"; ++i) {
    const std::string& word = words[i];
    if (word.size() > 1 && word[0] == '-') {
      const std::string name = name_in(word);
      const CommandOption* option = find_option(*page, name);
      if (option == nullptr) return wrong_option(*page, name);
      if (option->takes_value && name == word) ++i;
    } else if (const CommandPage* command = find_command(*page, word)) {
      page = command;
    } else if (!takes_other_words(*page)) {
      return wrong_command(program, *page, word);
    }
  }
  return std::nullopt;
}

}  // namespace calseal
