#include <memory>
#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/confine.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/study/study_commands.h"
#include "calseal/map/plan.h"
#include "calseal/report/study/carry_report.h"

namespace calseal {
namespace {

struct CarryOptions {
  std::string map, output, name;
  std::vector<std::string> images, base;
  bool force = false;
};

// The base must be what the map describes, or nothing found by it would mean anything.
Status believe_base(const RegionMap& map, const Read& base, const CarryOptions& options) {
  auto plan = make_plan(map, base.image);
  if (!plan) return fail(in_file(std::move(plan).error(), read_name(options.base)));
  if (Status believed = believe_map(*plan, base.image); !believed)
    return fail(in_file(std::move(believed).error(), read_name(options.base)));
  return {};
}

Result<int> carry(const CarryOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.map));
  CALSEAL_ASSIGN(const Read image, load_read_arguments(map, options.images));
  std::optional<Read> base;
  if (!options.base.empty()) {
    CALSEAL_ASSIGN(base, load_read_arguments(map, options.base));
    CALSEAL_CHECK(believe_base(map, *base, options));
  }
  if (!options.output.empty()) {
    std::vector<std::string> inputs = paths_of(options.images);
    for (const std::string& path : paths_of(options.base)) inputs.push_back(path);
    inputs.push_back(options.map);
    CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  }
  const std::string name = options.name.empty() ? map.name.substr(0, 56) + "-carried" : options.name;
  CALSEAL_ASSIGN(const MapCarry carried,
                 carry_region_map(map, base ? &base->image : nullptr, image.image, name));
  const bool written = carried.map && !options.output.empty();
  if (written)
    CALSEAL_CHECK(write_file(options.output, carried.text, FileMode::kPublic,
                             options.force ? Existing::kReplace : Existing::kRefuse));
  const Page page = page_for(console);
  std::string text = carry_text(map, carried, page);
  if (written) text += labelled(page, "written", printable(options.output));
  text += labelled(page, "caution",
                   "what moved was told from bytes; whether the software is the family that the map knows is "
                   "for you to judge",
                   Mark::kCaution);
  console.print(text);
  JsonValue value = json_object({{"calseal", json("regions-carry/1")},
                                 {"output", json(written ? printable(options.output, 16384) : "")}});
  for (JsonMember& one : carry_json(map, carried).members) value.members.push_back(std::move(one));
  console.print_json(value);
  return carried.map && !carried.fault && carried.look.empty() ? 0 : 1;
}

}  // namespace

void add_regions_carry_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.subcommand("regions")->add_subcommand(
      "carry", "Propose a region map for another software number of a known family");
  auto o = std::make_shared<CarryOptions>();
  command->add_option("MAP", o->map, "Region map of the software that is known")->takes("FILE")->required();
  command->add_option("IMAGE", o->images, "A read of the other software")->takes("[MEMORY=]FILE")->required();
  command->add_option("--base", o->base, "A read of the known software; once for each file")
      ->takes("[MEMORY=]FILE")
      ->one_each();
  command->add_option("--name", o->name, "Name of the new map (default: the old one's with -carried)")
      ->takes("NAME");
  command->add_option("-o,--output", o->output, "The region map to write")->takes("FILE");
  command->add_flag("--force", o->force, "Replace the output if it exists");
  set_command(
      *command, console,
      {"calseal regions carry e345.json read-391.bin --base read-345.bin --name e391 -o e391.json",
       "calseal regions carry e345.json flash=f391.bin eeprom=e391.bin"},
      [o](Console& c) { return carry(*o, c); }, status);
}

}  // namespace calseal
