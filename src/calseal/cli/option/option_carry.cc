#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/option/option_commands.h"
#include "calseal/cli/option/option_ground.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/option/option_report.h"

namespace calseal {
namespace {

Result<int> carry(const OptionOptions& options, const Console& console) {
  CALSEAL_CHECK(refuse_clashes({options.output}, option_inputs(options)));
  CALSEAL_ASSIGN(const OptionFile file, load_option_file(options.option));
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
    CALSEAL_CHECK(write_file(options.output, view_of(written), FileMode::kPublic, Existing::kRefuse));
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

}  // namespace

void add_option_carry_command(CommandLine& option, Console& console, int& status) {
  auto o = std::make_shared<OptionOptions>();
  CommandLine* command = option.add_subcommand(
      "carry", "Move an option to another software number, by the bytes around its edits");
  command->add_option("OPTION", o->option, "The option file")->takes("FILE")->required();
  add_ground(*command, *o);
  command
      ->add_option("--new-regions", o->new_regions,
                   "Region map of the other software number (default: the same)")
      ->takes("FILE");
  command->add_option("--new-base", o->new_base, "A first read of it; once for each file")
      ->takes("[MEMORY=]FILE")
      ->one_each()
      ->required();
  command->add_option("-o,--output", o->output, "The option file to write; nothing is replaced")
      ->takes("FILE")
      ->required();
  set_command(
      *command, console,
      {"calseal option carry shift-light.option.json --regions e345.json --base read-345.bin "
       "--new-regions e391.json --new-base read-391.bin -o shift-light-391.option.json"},
      [o](Console& c) { return carry(*o, c); }, status);
}

}  // namespace calseal
