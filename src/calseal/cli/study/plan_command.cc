#include <CLI/CLI.hpp>
#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/study/study_commands.h"
#include "calseal/report/study/study_report.h"

namespace calseal {
namespace {

struct PlanOptions {
  std::string regions;
  std::vector<std::string> now, after;
  LinkRates rates;
};

Result<int> plan(const PlanOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.regions));
  CALSEAL_ASSIGN(const Read now, load_read_arguments(map, options.now));
  CALSEAL_ASSIGN(const Read after, load_read_arguments(map, options.after));
  auto layout = make_plan(map, now.image);
  if (!layout) return fail(in_file(layout.error(), read_name(options.now)));
  const WritePlan write = make_write_plan(*layout, now.image, after.image);
  console.print(write_plan_text(map, write, options.rates, page_for(console)));
  JsonValue value = json_object({{"calseal", json("plan/1")}});
  for (auto& member : write_plan_json(map, write, options.rates).members)
    value.members.push_back(std::move(member));
  console.print_json(value);
  return 0;
}

}  // namespace

void add_plan_command(CLI::App& app, Console& console, int& status) {
  CLI::App* command = app.add_subcommand("plan", "What a write would touch: erase sectors, bytes and time");
  auto options = std::make_shared<PlanOptions>();
  command->add_option("--regions", options->regions, "The region map")->required();
  command->add_option("--now", options->now, "[MEMORY=]FILE: what is in the vehicle now, once for each file")
      ->required();
  command->add_option("--after", options->after, "[MEMORY=]FILE: the rebuilt image, likewise")->required();
  command->add_option("--rate", options->rates.write, "Bytes per second when writing")
      ->check(CLI::Range(1, 100000000));
  command->add_option("--read-rate", options->rates.read, "Bytes per second when reading")
      ->check(CLI::Range(1, 100000000));
  set_command(
      *command, console,
      {"calseal plan --regions engine.json --now read.bin --after r2.bin",
       "calseal plan --regions engine.json --now flash=f0.bin --now eeprom=e0.bin --after flash=f1.bin "
       "--after eeprom=e0.bin --rate 20000"},
      [options](Console& c) { return plan(*options, c); }, status);
}

}  // namespace calseal
