#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/assign_outputs.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/option/option_commands.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/option/compose.h"
#include "calseal/report/changes/comparison_report.h"
#include "calseal/report/changes/corrections_report.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/option/option_report.h"

namespace calseal {
namespace {

struct ComposeOptions {
  std::string regions;
  std::vector<std::string> base, options, outputs, fuel, hardware;
};

Result<int> run(const ComposeOptions& o, const Console& console) {
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(o.regions));
  CALSEAL_ASSIGN(const Read base, load_read_arguments(map, o.base));
  CALSEAL_ASSIGN(const std::vector<OptionFile> options, load_options(o.options));
  CALSEAL_ASSIGN(const std::vector<std::string> paths, assign_outputs(base.sources, o.outputs));
  std::vector<std::string> inputs = paths_of(o.base);
  inputs.push_back(o.regions);
  inputs.insert(inputs.end(), o.options.begin(), o.options.end());
  CALSEAL_CHECK(refuse_clashes(paths, inputs));
  auto plan = make_plan(map, base.image);
  if (!plan) return fail(in_file(plan.error(), read_name(o.base)));
  if (Status believed = believe_map(*plan, base.image); !believed)
    return fail(in_file(believed.error(), read_name(o.base)));
  auto composition = compose(*plan, base.image, options, {o.fuel, o.hardware});
  if (!composition) return fail(in_file(composition.error(), read_name(o.base)));
  const Page page = page_for(console);
  JsonValue value = json_object({{"calseal", json("compose/1")},
                                 {"region_map", region_map_json(map)},
                                 {"composed", json(composition->holds())},
                                 {"options", json_strings(composition->options)},
                                 {"problems", json_array(composition->problems, json_error)}});
  if (!composition->holds()) {
    console.print(problems_text(composition->problems, page) + "\n" +
                  labelled(page, "written", "nothing", Mark::kBad));
    console.print_json(value);
    return 1;
  }
  const Confinement proof = prove_confinement(*plan, base.image, composition->image);
  CALSEAL_ASSIGN(const Account account, make_account(*plan, base.image, composition->image, options));
  std::string text = labelled(page, "region map", region_map_words(map)) + "\n" +
                     account_text(map, account, base.image, composition->image, page) + "\n" +
                     item_changes_text(map, base.image, composition->image, page) +
                     corrections_text(map, composition->correction, page) + "\n" +
                     confinement_text(*plan, proof, base.image, page);
  value.members.emplace_back("corrections", corrections_json(map, composition->correction));
  value.members.emplace_back("account", account_json(map, account, base.image, composition->image));
  value.members.emplace_back("items", item_changes_json(map, base.image, composition->image));
  value.members.emplace_back("confinement", confinement_json(*plan, proof, base.image));
  if (!proof.holds()) {
    console.print(text + labelled(page, "written", "nothing"));
    console.print_json(value);
    return 1;
  }
  CALSEAL_ASSIGN(const std::vector<Bytes> files, render_read(map, base, composition->image));
  std::vector<PendingFile> pending;
  for (std::size_t i = 0; i < paths.size(); ++i) pending.push_back({paths[i], files[i], FileMode::kVehicle});
  CALSEAL_CHECK(write_files(pending));
  text += "\n";
  for (const std::string& path : paths) text += labelled(page, "written", printable(path));
  console.print(text);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_option_compose_command(CommandLine& option, Console& console, int& status) {
  CommandLine* command = option.add_subcommand("compose", "Base and options in, corrected image out");
  auto options = std::make_shared<ComposeOptions>();
  const auto one_each = [](Argument* argument) { return argument->one_each(); };
  command->add_option("--regions", options->regions, "The region map")->takes("FILE")->required();
  one_each(command->add_option("--base", options->base, "The first read; once for each file")
               ->takes("[MEMORY=]FILE"))
      ->required();
  one_each(command->add_option("--option", options->options, "An option file (repeatable)")->takes("FILE"))
      ->required();
  one_each(command->add_option("--fuel", options->fuel, "A fuel that the vehicle runs on (repeatable)")
               ->takes("NAME"));
  one_each(command->add_option("--hardware", options->hardware, "Hardware that it has (repeatable)")
               ->takes("NAME"));
  one_each(command
               ->add_option("-o,--output", options->outputs,
                            "Where the image goes, in the form that came; once for each file")
               ->takes("[MEMORY=]FILE"))
      ->required();
  set_command(
      *command, console,
      {"calseal option compose --regions engine.json --base read.bin --option tune.json "
       "--option shift-light.json -o edited.bin",
       "calseal option compose --regions engine.json --base flash=f.bin --base eeprom=e.bin "
       "--option e85.json --fuel e85 -o flash=f1.bin -o eeprom=e1.bin"},
      [options](Console& c) { return run(*options, c); }, status);
}

}  // namespace calseal
