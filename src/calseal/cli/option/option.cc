#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/confine.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/option/option_commands.h"
#include "calseal/cli/option/option_ground.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/option/option_report.h"

namespace calseal {
namespace {

Result<int> make(const OptionOptions& options, const Console& console) {
  CALSEAL_CHECK(refuse_clashes({options.output}, option_inputs(options)));
  Ground ground;
  CALSEAL_CHECK(ground.load(options.regions, options.base));
  CALSEAL_ASSIGN(const Read edited, load_read_arguments(ground.map, options.image));
  auto made = make_option(ground.plan, ground.read.image, edited.image, options.name, options.title);
  if (!made) return fail(in_file(std::move(made).error(), read_name(options.image)));
  made->option.purpose = options.purpose;
  const std::string text = write_option(made->option);
  // What was written is what a reader takes.
  CALSEAL_ASSIGN(const OptionFile file,
                 parse_option(Bytes(text.begin(), text.end()), printable(options.output)));
  CALSEAL_CHECK(write_file(options.output, view_of(text), FileMode::kPublic, Existing::kRefuse));
  const Page page = page_for(console);
  std::string report = option_text(file, page) + "\n";
  Columns left_out;
  for (const auto& [place, word] : made->left_out) left_out.add({{place_text(ground.map, place)}, {word}});
  if (!left_out.empty())
    report += page.painted(Mark::kDim, "left out") + "\n" + left_out.text(page, 2) + "\n";
  console.print(report + labelled(page, "written", printable(options.output)));
  console.print_json(
      json_object({{"calseal", json("option-make/1")},
                   {"option", option_json(file)},
                   {"left_out", json_array(made->left_out,
                                           [&](const auto& left) {
                                             JsonValue value = place_json(ground.map, left.first);
                                             value.members.emplace_back("why", json(left.second));
                                             return value;
                                           })},
                   {"output", json(printable(options.output, 16384))}}));
  return 0;
}

// With a region map the edits are shown by item; a base gives the values of axes.
Result<int> show(const OptionOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const OptionFile file, load_option_file(options.option));
  const Page page = page_for(console);
  JsonValue value = json_object({{"calseal", json("option-show/1")}, {"option", option_json(file)}});
  std::string text = option_text(file, page);
  if (!options.regions.empty()) {
    CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.regions));
    Read base;
    if (!options.base.empty()) {
      CALSEAL_ASSIGN(base, load_read_arguments(map, options.base));
    }
    CALSEAL_ASSIGN(OptionItems items, option_items(map, file, options.base.empty() ? nullptr : &base.image,
                                                   page, options.all ? kAllItems : kFirstItems));
    text += "\n" + items.text;
    value.members.emplace_back("items", std::move(items.value));
  }
  console.print(text);
  console.print_json(value);
  return 0;
}

Result<int> check(const OptionOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const OptionFile file, load_option_file(options.option));
  Ground ground;
  CALSEAL_CHECK(ground.load(options.regions, options.base));
  const std::vector<Error> problems = judge_option(ground.plan, ground.read.image, file);
  const Page page = page_for(console);
  console.print(
      problems_text(problems, page) +
      labelled(page, "option",
               file.option.name + (problems.empty() ? " fits this base" : " does NOT fit this base"),
               problems.empty() ? Mark::kGood : Mark::kBad));
  console.print_json(json_object({{"calseal", json("option-check/1")},
                                  {"name", json(file.option.name)},
                                  {"fits", json(problems.empty())},
                                  {"problems", json_array(problems, json_error)}}));
  return problems.empty() ? 0 : 1;
}

using Run = Result<int> (*)(const OptionOptions&, const Console&);

Command command_of(const std::shared_ptr<OptionOptions>& options, Run run) {
  return [options, run](Console& c) { return run(*options, c); };
}

}  // namespace

void add_option_command(CommandLine& app, Console& console, int& status) {
  CommandLine* option =
      app.add_subcommand("option", "Make, look at, check, carry and compose options: edits with a name");
  option->require_subcommand();

  auto o = std::make_shared<OptionOptions>();
  CommandLine* command = option->add_subcommand("make", "Derive an option from a base and an edited image");
  add_ground(*command, *o);
  command->add_option("--image", o->image, "The edited image; once for each file")
      ->takes("[MEMORY=]FILE")
      ->one_each()
      ->required();
  command->add_option("--name", o->name, "Name: a-z, 0-9, '-' and '_'")->takes("NAME")->required();
  command->add_option("--title", o->title, "One line for people")->required();
  command->add_option("--purpose", o->purpose, "What it is for");
  command->add_option("-o,--output", o->output, "The option file to write; nothing is replaced")
      ->takes("FILE")
      ->required();
  set_command(
      *command, console,
      {"calseal option make --regions engine.json --base read.bin --image edited.bin --name shift-light "
       "--title \"Shift light\" -o shift-light.option.json"},
      command_of(o, make), status);

  o = std::make_shared<OptionOptions>();
  command = option->add_subcommand("show", "Lay an option file open");
  command->add_option("OPTION", o->option, "The option file")->takes("FILE")->required();
  Argument* regions =
      command->add_option("--regions", o->regions, "The region map, to show edits by item")->takes("FILE");
  command->add_option("--base", o->base, "The first read, for the values of axes; once for each file")
      ->takes("[MEMORY=]FILE")
      ->one_each()
      ->needs(regions);
  command->add_flag("--all", o->all, "Show every changed cell")->needs(regions);
  set_command(*command, console,
              {"calseal option show shift-light.option.json",
               "calseal option show tune.option.json --regions engine.json --base read.bin"},
              command_of(o, show), status);

  o = std::make_shared<OptionOptions>();
  command = option->add_subcommand("check", "Does an option fit this base?");
  command->add_option("OPTION", o->option, "The option file")->takes("FILE")->required();
  add_ground(*command, *o);
  set_command(*command, console,
              {"calseal option check shift-light.option.json --regions engine.json --base read.bin"},
              command_of(o, check), status);

  add_option_carry_command(*option, console, status);
  add_option_compose_command(*option, console, status);
}

}  // namespace calseal
