#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/study/study_commands.h"
#include "calseal/report/study/study_report.h"

namespace calseal {
namespace {

struct ReceiveOptions {
  std::vector<std::string> reads, again, outputs;
  std::string regions = ".", known;
};

// The files of each read: the first, then those of every --again, which repeats all memories in order.
std::vector<std::vector<std::string>> reads_of(const ReceiveOptions& options) {
  std::vector<std::vector<std::string>> reads = {options.reads};
  for (std::size_t i = 0; i < options.again.size(); ++i) {
    if (i % options.reads.size() == 0) reads.emplace_back();
    reads.back().push_back(options.again[i]);
  }
  return reads;
}

Status write_voted(const ReceiveOptions& options, const RegionMap& map, const Read& form, const Vote& vote) {
  if (options.outputs.empty()) return {};
  if (!vote.image || any_fails(vote.checks)) {
    return fail({Reason::kChecksumFails, options.outputs.front(), "",
                 "a vote that is undecided or whose checks fail", "a decided vote whose checks hold",
                 "read again: one more read may decide it"});
  }
  CALSEAL_ASSIGN(const std::vector<Bytes> files, render_read(map, form, *vote.image));
  if (files.size() != options.outputs.size()) {
    return fail({Reason::kUsage, "", "", counted(options.outputs.size(), "output", "outputs"),
                 counted(files.size(), "output", "outputs"), "give --output once for each file of a read"});
  }
  std::vector<PendingFile> pending;
  for (std::size_t i = 0; i < files.size(); ++i) pending.push_back({options.outputs[i], files[i]});
  return write_files(pending);
}

Result<RegionMapLibrary> library_of(const std::string& path) {
  if (!path.ends_with(".json")) return load_region_map_library(path);
  CALSEAL_ASSIGN(RegionMap map, load_region_map(path));
  RegionMapLibrary library;
  library.maps.push_back({path, std::move(map)});
  return library;
}

// The map that recognises the read; else, for a read that is damaged, the only one there is.
Result<std::size_t> map_for(const RegionMapLibrary& library, const MapChoice& choice) {
  if (choice.chosen) return *choice.chosen;
  if (library.maps.size() == 1) return std::size_t{0};
  return fail({Reason::kFamilyMismatch, "", "", choice.conflict, "one region map that recognises the read",
               "name the region map itself with --regions MAP.json to have the read judged against it"});
}

Result<int> receive(const ReceiveOptions& options, const Console& console) {
  if (options.again.size() % options.reads.size() != 0) {
    return fail({Reason::kUsage, "", "--again", counted(options.again.size(), "file", "files"),
                 "as many files as the read has, for each further read", "repeat --again for every file"});
  }
  std::vector<std::string> inputs = paths_of(options.reads);
  for (const std::string& path : paths_of(options.again)) inputs.push_back(path);
  CALSEAL_CHECK(refuse_clashes(options.outputs, inputs));
  Progress progress(console, 0);
  progress.begin("reading region maps");
  CALSEAL_ASSIGN(const RegionMapLibrary library, library_of(options.regions));
  const std::vector<std::vector<std::string>> named = reads_of(options);
  std::vector<std::vector<ReadFile>> reads;
  for (const auto& arguments : named) {
    CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(arguments));
    reads.push_back(std::move(files));
  }
  const Page page = page_for(console);
  progress.begin("choosing among " + counted(library.maps.size(), "region map", "region maps"));
  const MapChoice choice = choose_region_map(library, reads.front());
  const Result<std::size_t> chosen = map_for(library, choice);
  if (!chosen) {
    progress.end();
    if (!console.json) console.note(map_choice_text(library, choice, page));
    return fail(chosen.error());
  }
  const RegionMap& map = library.maps[*chosen].map;
  std::vector<KnownStock> stocks;
  if (!options.known.empty()) {
    progress.begin("reading known stocks");
    CALSEAL_ASSIGN(stocks, load_known_stocks(map, options.known));
  }
  std::vector<ReadJudgement> judgements;
  JsonValue array = json_strings({});
  std::string text = library.maps.size() > 1 ? map_choice_text(library, choice, page) + "\n" : "";
  bool sound = true;
  for (std::size_t i = 0; i < reads.size(); ++i) {
    progress.begin("judging read " + std::to_string(i + 1) + " of " + std::to_string(reads.size()));
    CALSEAL_ASSIGN(ReadJudgement judgement, judge_read(map, reads[i], stocks));
    const std::string name = read_name(named[i]);
    text += (i == 0 ? "" : "\n") + read_judgement_text(map, name, judgement, page);
    array.items.push_back(read_judgement_json(map, name, judgement));
    sound = sound && judgement.sound();
    judgements.push_back(std::move(judgement));
  }
  JsonValue voted = JsonValue{};
  if (reads.size() > 1) {
    std::vector<const Image*> images;
    for (const ReadJudgement& judgement : judgements) images.push_back(&judgement.read.image);
    progress.begin("comparing the reads");
    const Result<Vote> vote = vote_reads(map, images);
    // Reads that cannot be compared are judged all the same.
    if (!vote && (!options.outputs.empty() || vote.error().reason != Reason::kReadIncomplete))
      return fail(vote.error());
    if (!vote) {
      text += "\n" +
              labelled(page, "not compared", vote.error().found + "; " + vote.error().next, Mark::kCaution);
    } else {
      text += "\n" + vote_text(map, *vote, reads.size(), page);
      voted = vote_json(map, *vote);
      sound = sound && vote->only_volatile();
      const auto first = std::ranges::find(vote->compared, true) - vote->compared.begin();
      CALSEAL_CHECK(write_voted(options, map, judgements[static_cast<std::size_t>(first)].read, *vote));
    }
  }
  progress.end();
  console.print(text);
  console.print_json(json_object(
      {{"calseal", json("receive/1")}, {"reads", array}, {"vote", voted}, {"sound", json(sound)}}));
  return sound ? 0 : 1;
}

}  // namespace

void add_receive_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand(
      "receive", "Judge an incoming read: which controller, whole or damaged, stock or not");
  auto options = std::make_shared<ReceiveOptions>();
  command->add_option("FILES", options->reads, "[MEMORY=]FILE: the read, one file or one for each memory")
      ->required();
  command->add_option("--regions", options->regions,
                      "Folder of region maps to choose from, or one region map (default: this folder)");
  command->add_option("--known", options->known,
                      "Folder of known stocks: a file each, or a folder each with a file per memory");
  command->add_option("--again", options->again,
                      "[MEMORY=]FILE: a further read of the same controller, as many files as the first");
  command->add_option("-o,--output", options->outputs,
                      "Where to write the read that three or more reads vote for");
  set_command(
      *command, console,
      {"calseal receive flash=flash.bin eeprom=eeprom.bin --regions maps --known stocks",
       "calseal receive read.hex --regions engine.json",
       "calseal receive read1.bin --again read2.bin --again read3.bin --regions maps -o voted.bin"},
      [options](Console& c) { return receive(*options, c); }, status);
}

}  // namespace calseal
