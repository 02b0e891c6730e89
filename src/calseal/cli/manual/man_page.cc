#include "calseal/cli/manual/man_page.h"

#include <algorithm>
#include <string_view>

namespace calseal {
namespace {

std::string joined(const std::vector<std::string>& parts, std::string_view between) {
  std::string text;
  for (const std::string& part : parts) text += (text.empty() ? "" : std::string(between)) + part;
  return text;
}

// Text of a line as troff prints it: backslashes doubled, hyphens that stay hyphens when copied.
std::string plain(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '\\') {
      out += "\\e";
    } else if (c == '-') {
      out += "\\-";
    } else if (c == '\n') {
      out += ' ';
    } else {
      out.push_back(c);
    }
  }
  // A control character at the beginning of a line would be a request.
  if (!out.empty() && (out[0] == '.' || out[0] == '\'')) out.insert(0, "\\&");
  return out;
}

std::string upper(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](char c) { return c >= 'a' && c <= 'z' ? static_cast<char>(c - 32) : c; });
  return text;
}

std::string value_of(const CommandOption& option) {
  if (!option.takes_value) return "";
  return option.choices.empty() ? option.value : joined(option.choices, "|");
}

std::string synopsis(const CommandPage& page) {
  std::string text = "\\fB" + plain(joined(page.path, " ")) + "\\fR";
  if (!page.commands.empty()) return text + " \\fICOMMAND\\fR ...\n";
  for (const CommandOption& option : page.options) {
    if (!option.required && option.positional.empty()) continue;
    const std::string name = option.positional.empty() ? "\\fB" + plain(option.names.back()) + "\\fR \\fI" +
                                                             plain(value_of(option)) + "\\fR"
                                                       : "\\fI" + plain(option.positional) + "\\fR";
    text += option.required ? " " + name : " [" + name + "]";
    if (option.repeats) text += "...";
  }
  return text + " [\\fIOPTION\\fR]...\n";
}

std::string option_entry(const CommandOption& option) {
  std::string text = ".TP\n";
  if (option.positional.empty()) {
    std::string names;
    for (const std::string& name : option.names)
      names += (names.empty() ? "" : ", ") + ("\\fB" + plain(name) + "\\fR");
    text += names;
    if (option.takes_value) text += " \\fI" + plain(value_of(option)) + "\\fR";
  } else {
    text += "\\fI" + plain(option.positional) + "\\fR";
  }
  text += "\n" + plain(option.description);
  if (option.required) text += " (required)";
  return text + "\n";
}

}  // namespace

std::string man_page_name(const CommandPage& page) { return joined(page.path, "-") + ".1"; }

std::string man_page(const CommandPage& page, const std::string& version) {
  const std::string name = joined(page.path, "-");
  std::string text = ".TH " + upper(plain(name)) + " 1 \"\" \"" + plain(version) + "\" \"calseal manual\"\n";
  text += ".SH NAME\n" + plain(name) + " \\- " + plain(page.description) + "\n";
  text += ".SH SYNOPSIS\n" + synopsis(page);
  if (!page.commands.empty()) {
    text += ".SH COMMANDS\n";
    std::string heading;
    for (const CommandPage& command : page.commands) {
      if (command.heading != heading) text += ".SS " + plain(command.heading) + "\n";
      heading = command.heading;
      text += ".TP\n\\fB" + plain(command.path.back()) + "\\fR\n" + plain(command.description) + "\n";
    }
  }
  text += ".SH OPTIONS\n";
  for (const CommandOption& option : page.options) text += option_entry(option);
  if (!page.examples.empty()) {
    text += ".SH EXAMPLES\n";
    for (const std::string& example : page.examples) text += ".PP\n.nf\n" + plain(example) + "\n.fi\n";
  }
  if (!page.exit_statuses.empty()) text += ".SH EXIT STATUS\n" + plain(page.exit_statuses) + "\n";
  text +=
      ".SH CAUTIONS\nA wrong file can leave a controller dead or hurt an engine. calseal proves what a file "
      "changes, never that the change is good. Emissions and road use are a matter of the law where you are; "
      "have the work done and judged by licensed people.\n";
  text += ".SH SEE ALSO\n";
  std::vector<std::string> others;
  if (page.path.size() > 1) {
    std::vector<std::string> above(page.path.begin(), page.path.end() - 1);
    others.push_back(joined(above, "-"));
  }
  for (const CommandPage& command : page.commands) others.push_back(joined(command.path, "-"));
  if (others.empty()) others.push_back("calseal");
  for (std::size_t i = 0; i < others.size(); ++i) {
    text += ".BR " + plain(others[i]) + " (1)" + (i + 1 < others.size() ? " ," : "") + "\n";
  }
  return text;
}

}  // namespace calseal
