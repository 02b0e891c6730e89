#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/confine.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/option/option_commands.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/option/option_report.h"

namespace calseal {
namespace {

struct Options {
  std::string regions, new_regions, option, name, title, purpose, output;
  std::vector<std::string> base, image, new_base;
};

// A region map with a read that it holds on. Built in place: plan and read point into the map.
struct Ground {
  RegionMap map;
  Read read;
  Plan plan;

  Status load(const std::string& regions, const std::vector<std::string>& files) {
    CALSEAL_ASSIGN(map, load_region_map(regions));
    CALSEAL_ASSIGN(read, load_read_arguments(map, files));
    auto made = make_plan(map, read.image);
    if (!made) return fail(in_file(std::move(made).error(), read_name(files)));
    plan = *std::move(made);
    if (Status believed = believe_map(plan, read.image); !believed)
      return fail(in_file(believed.error(), read_name(files)));
    return {};
  }
};

Result<OptionFile> load_one(const std::string& path) {
  CALSEAL_ASSIGN(std::vector<OptionFile> options, load_options({path}));
  return std::move(options.front());
}

std::vector<std::string> inputs_of(const Options& options) {
  std::vector<std::string> inputs = {options.regions};
  for (const std::string& path : {options.new_regions, options.option}) {
    if (!path.empty()) inputs.push_back(path);
  }
  for (const auto* list : {&options.base, &options.image, &options.new_base}) {
    for (std::string& path : paths_of(*list)) inputs.push_back(std::move(path));
  }
  return inputs;
}

Result<int> make(const Options& options, const Console& console) {
  CALSEAL_CHECK(refuse_clashes({options.output}, inputs_of(options)));
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
  CALSEAL_CHECK(write_files({{options.output, view_of(text)}}));
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

Result<int> show(const Options& options, const Console& console) {
  CALSEAL_ASSIGN(const OptionFile file, load_one(options.option));
  console.print(option_text(file, page_for(console)));
  console.print_json(json_object({{"calseal", json("option-show/1")}, {"option", option_json(file)}}));
  return 0;
}

Result<int> check(const Options& options, const Console& console) {
  CALSEAL_ASSIGN(const OptionFile file, load_one(options.option));
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

Result<int> carry(const Options& options, const Console& console) {
  CALSEAL_CHECK(refuse_clashes({options.output}, inputs_of(options)));
  CALSEAL_ASSIGN(const OptionFile file, load_one(options.option));
  Ground from;
  CALSEAL_CHECK(from.load(options.regions, options.base));
  Ground to;
  CALSEAL_CHECK(
      to.load(options.new_regions.empty() ? options.regions : options.new_regions, options.new_base));
  CALSEAL_ASSIGN(const CarriedOption carried,
                 carry_option(from.plan, from.read.image, file, to.plan, to.read.image));
  const Page page = page_for(console);
  std::string text = carried_text(from.map, to.map, carried, page);
  if (carried.is_whole()) {
    const std::string written = write_option(carried.option);
    CALSEAL_CHECK(parse_option(Bytes(written.begin(), written.end()), printable(options.output)));
    CALSEAL_CHECK(write_files({{options.output, view_of(written)}}));
    text += labelled(page, "written", printable(options.output)) +
            labelled(page, "caution",
                     "the bytes around each edit agree; whether the edit means the same in this software is "
                     "for you to judge",
                     Mark::kCaution);
  }
  console.print(text);
  JsonValue value =
      json_object({{"calseal", json("option-carry/1")},
                   {"reason", json(carried.is_whole() ? "" : code(Reason::kOptionNotCarried))},
                   {"output", json(carried.is_whole() ? printable(options.output, 16384) : "")}});
  for (auto& member : carried_json(from.map, to.map, carried).members)
    value.members.push_back(std::move(member));
  console.print_json(value);
  if (!carried.is_whole())
    console.note("refused [" + std::string(code(Reason::kOptionNotCarried)) + "]: nothing was written\n");
  return carried.is_whole() ? 0 : 1;
}

using Run = Result<int> (*)(const Options&, const Console&);

Command command_of(const std::shared_ptr<Options>& options, Run run) {
  return [options, run](Console& c) { return run(*options, c); };
}

Argument* one_each(Argument* option) { return option->one_each(); }

void add_ground(CommandLine& command, const std::shared_ptr<Options>& o) {
  command.add_option("--regions", o->regions, "The region map")->required();
  one_each(command.add_option("--base", o->base, "[MEMORY=]FILE: the first read; once for each file"))
      ->required();
}

}  // namespace

void add_option_command(CommandLine& app, Console& console, int& status) {
  CommandLine* option =
      app.add_subcommand("option", "Make, look at, check and carry options: edits with a name");
  option->require_subcommand();

  auto o = std::make_shared<Options>();
  CommandLine* command = option->add_subcommand("make", "Derive an option from a base and an edited image");
  add_ground(*command, o);
  one_each(command->add_option("--image", o->image, "[MEMORY=]FILE: the edited image; once for each file"))
      ->required();
  command->add_option("--name", o->name, "Name: a-z, 0-9, '-' and '_'")->required();
  command->add_option("--title", o->title, "One line for people")->required();
  command->add_option("--purpose", o->purpose, "What it is for");
  command->add_option("-o,--output", o->output, "The option file to write")->required();
  set_command(
      *command, console,
      {"calseal option make --regions engine.json --base read.bin --image edited.bin --name shift-light "
       "--title \"Shift light\" -o shift-light.option.json"},
      command_of(o, make), status);

  o = std::make_shared<Options>();
  command = option->add_subcommand("show", "Lay an option file open");
  command->add_option("OPTION", o->option, "The option file")->required();
  set_command(*command, console, {"calseal option show shift-light.option.json"}, command_of(o, show),
              status);

  o = std::make_shared<Options>();
  command = option->add_subcommand("check", "Does an option fit this base?");
  command->add_option("OPTION", o->option, "The option file")->required();
  add_ground(*command, o);
  set_command(*command, console,
              {"calseal option check shift-light.option.json --regions engine.json --base read.bin"},
              command_of(o, check), status);

  o = std::make_shared<Options>();
  command = option->add_subcommand(
      "carry", "Move an option to another software number, by the bytes around its edits");
  command->add_option("OPTION", o->option, "The option file")->required();
  add_ground(*command, o);
  command->add_option("--new-regions", o->new_regions,
                      "Region map of the other software number (default: the same)");
  one_each(
      command->add_option("--new-base", o->new_base, "[MEMORY=]FILE: a first read of it; once for each file"))
      ->required();
  command->add_option("-o,--output", o->output, "The option file to write")->required();
  set_command(*command, console,
              {"calseal option carry shift-light.option.json --regions e345.json --base read-345.bin "
               "--new-regions e391.json --new-base read-391.bin -o shift-light-391.option.json"},
              command_of(o, carry), status);
}

}  // namespace calseal
