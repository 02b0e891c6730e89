#include <memory>
#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/correct_edit.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/assign_outputs.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/comparison_report.h"
#include "calseal/report/changes/corrections_report.h"
#include "calseal/report/changes/places.h"

namespace calseal {
namespace {

constexpr const char* kUnproved =
    "caution: without --base the region map was not believed on a first read, and nothing proves what else "
    "was changed\n";

struct CorrectOptions {
  std::string regions;
  std::vector<std::string> reads, outputs, base;
};

std::vector<std::string> inputs_of(const CorrectOptions& options) {
  std::vector<std::string> inputs = paths_of(options.reads);
  for (const std::string& path : paths_of(options.base)) inputs.push_back(path);
  inputs.push_back(options.regions);
  return inputs;
}

// Everything that one run works on. Built in place: plan and reads point into the map.
struct Work {
  RegionMap map;
  Read read;
  std::optional<Read> base;
  CorrectedEdit done;
};

Status load(const CorrectOptions& options, Work& work) {
  CALSEAL_ASSIGN(work.map, load_region_map(options.regions));
  CALSEAL_ASSIGN(work.read, load_read_arguments(work.map, options.reads));
  if (!options.base.empty()) {
    CALSEAL_ASSIGN(work.base, load_read_arguments(work.map, options.base));
  }
  return {};
}

JsonValue result_json(const Work& work, const std::vector<std::string>& paths,
                      const std::vector<Bytes>& files) {
  std::vector<std::size_t> indexes(files.size());
  for (std::size_t i = 0; i < files.size(); ++i) indexes[i] = i;
  return json_object(
      {{"calseal", json("correct/1")},
       {"region_map", region_map_json(work.map)},
       {"proved_on_base", json(work.base.has_value())},
       {"corrections", corrections_json(work.map, work.done.report)},
       {"not_provable", json_strings(work.done.report.not_provable)},
       {"confinement",
        work.done.proof ? confinement_json(work.done.plan, *work.done.proof, work.base->image) : JsonValue{}},
       {"files", json_array(indexes, [&](std::size_t i) {
          return json_object({{"memory", json(work.read.sources[i].memory)},
                              {"form", json(work.read.sources[i].form)},
                              {"file", json(printable(paths[i]))},
                              {"size", json(files[i].size())},
                              {"sha256", json(digest_text(compute_sha256(files[i])))}});
        })}});
}

Result<int> run(const CorrectOptions& options, const Console& console) {
  Work work;
  Progress progress(console, 2);
  progress.begin("reading");
  CALSEAL_CHECK(load(options, work));
  progress.begin("correcting and proving");
  CALSEAL_ASSIGN(const std::vector<std::string> paths, assign_outputs(work.read.sources, options.outputs));
  CALSEAL_CHECK(refuse_clashes(paths, inputs_of(options)));
  CALSEAL_ASSIGN(work.done, correct_edit(work.map, work.read.image, read_name(options.reads),
                                         work.base ? &work.base->image : nullptr, read_name(options.base)));
  const std::optional<Confinement>& proof = work.done.proof;
  const Page page = page_for(console);
  std::string text = labelled(page, "region map", region_map_words(work.map)) + "\n" +
                     corrections_text(work.map, work.done.report, page);
  if (proof) text += "\n" + confinement_text(work.done.plan, *proof, work.base->image, page);
  if (proof && !proof->holds()) {
    console.print(text + labelled(page, "written", "nothing"));
    console.print_json(result_json(work, {}, {}));
    return 1;
  }
  auto files = render_read(work.map, work.read, work.read.image);
  if (!files) return fail(in_file(std::move(files).error(), read_name(options.reads)));
  std::vector<PendingFile> pending;
  for (std::size_t i = 0; i < paths.size(); ++i) pending.push_back({paths[i], (*files)[i], FileMode::kVehicle});
  CALSEAL_CHECK(write_files(pending));
  text += "\n";
  for (const std::string& path : paths) text += labelled(page, "written", printable(path));
  console.print(text);
  console.print_json(result_json(work, paths, *files));
  if (!work.base) console.note(kUnproved);
  return 0;
}

}  // namespace

void add_correct_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand("correct", "Correct the checksums and copies of an edited image");
  auto options = std::make_shared<CorrectOptions>();
  command->add_option("--regions", options->regions, "The region map")->takes("FILE")->required();
  command->add_option("FILES", options->reads, "The edited image, one file or one for each memory")
      ->takes("[MEMORY=]FILE")
      ->required();
  const auto one_each = [](Argument* option) { return option->one_each(); };
  one_each(command
               ->add_option("--output", options->outputs,
                            "Where the corrected file goes, in the form that came; once for each file")
               ->takes("[MEMORY=]FILE"))
      ->required();
  one_each(command
               ->add_option("--base", options->base,
                            "The first read; the result is then proved against it; once for each file")
               ->takes("[MEMORY=]FILE"));
  set_command(
      *command, console,
      {"calseal correct --regions engine.json edited.bin --base read.bin --output corrected.bin",
       "calseal correct --regions engine.json flash=f1.bin eeprom=e1.bin --output flash=f2.bin --output "
       "eeprom=e2.bin",
       "calseal correct --regions gearbox.json edited.s19 --output corrected.s19 --json"},
      [options](Console& c) { return run(*options, c); }, status);
}

}  // namespace calseal
