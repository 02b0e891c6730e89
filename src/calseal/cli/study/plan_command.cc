#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/study/study_commands.h"
#include "calseal/report/study/study_report.h"

namespace calseal {
namespace {

struct PlanOptions {
  std::string regions;
  std::vector<std::string> now, after;
  std::uint64_t read_rate = 0, write_rate = 0;
};

// What was given goes before what the region map declares, and that before the usual.
PlanRates rates_of(const PlanOptions& options, const RegionMap& map) {
  PlanRates plan;
  const auto choose = [&](std::uint64_t given, std::uint64_t LinkRates::*which, std::string& from) {
    if (map.link) {
      plan.rates.*which = *map.link.*which;
      from = "region map";
    }
    if (given == 0) return;
    plan.rates.*which = given;
    from = "given";
  };
  choose(options.read_rate, &LinkRates::read, plan.read_from);
  choose(options.write_rate, &LinkRates::write, plan.write_from);
  return plan;
}

Result<int> plan(const PlanOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.regions));
  Progress progress(console, 3);
  progress.begin("reading what is in the vehicle now");
  CALSEAL_ASSIGN(const Read now, load_read_arguments(map, options.now));
  progress.begin("reading the rebuilt image");
  CALSEAL_ASSIGN(const Read after, load_read_arguments(map, options.after));
  progress.begin("comparing the two");
  auto layout = make_plan(map, now.image);
  if (!layout) return fail(in_file(layout.error(), read_name(options.now)));
  const WritePlan write = make_write_plan(*layout, now.image, after.image);
  const PlanRates rates = rates_of(options, map);
  progress.end();
  console.print(write_plan_text(map, write, rates, page_for(console)));
  JsonValue value = json_object({{"calseal", json("plan/1")}});
  for (auto& member : write_plan_json(map, write, rates).members) value.members.push_back(std::move(member));
  console.print_json(value);
  return 0;
}

}  // namespace

void add_plan_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command =
      app.add_subcommand("plan", "What a write would touch: erase sectors, bytes and time");
  auto options = std::make_shared<PlanOptions>();
  command->add_option("--regions", options->regions, "The region map")->takes("FILE")->required();
  command->add_option("--now", options->now, "What is in the vehicle now, once for each file")
      ->takes("[MEMORY=]FILE")
      ->required();
  command->add_option("--after", options->after, "The rebuilt image, likewise")
      ->takes("[MEMORY=]FILE")
      ->required();
  command
      ->add_option("--rate", options->write_rate,
                   "Bytes per second when writing (default: the region map's link, else 12000)")
      ->in_range(1, 100000000);
  command
      ->add_option("--read-rate", options->read_rate,
                   "Bytes per second when reading (default: the region map's link, else 5600)")
      ->in_range(1, 100000000);
  set_command(
      *command, console,
      {"calseal plan --regions engine.json --now read.bin --after r2.bin",
       "calseal plan --regions engine.json --now flash=f0.bin --now eeprom=e0.bin --after flash=f1.bin "
       "--after eeprom=e0.bin --rate 20000"},
      [options](Console& c) { return plan(*options, c); }, status);
}

}  // namespace calseal
