#include "calseal/cli/study/receive_reads.h"

#include <algorithm>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/study/receive_files.h"
#include "calseal/cli/study/write_voted.h"
#include "calseal/report/study/study_report.h"

namespace calseal {
namespace {

// What was found so far, for people and for programs.
struct Received {
  Page page;
  std::string text;
  JsonValue reads = json_strings({});
  JsonValue vote;
  bool sound = true;
  std::optional<Error> not_written;  // why there is no voted read, where one was wanted
  std::vector<ReadJudgement> judgements;
};

Status judge_reads(const RegionMap& map, const std::vector<std::vector<ReadFile>>& reads,
                   const std::vector<std::string>& names, const std::vector<KnownStock>& stocks,
                   Progress& progress, Received& received) {
  for (std::size_t i = 0; i < reads.size(); ++i) {
    progress.begin("judging read " + std::to_string(i + 1) + " of " + std::to_string(reads.size()));
    CALSEAL_ASSIGN(ReadJudgement judgement, judge_read(map, reads[i], stocks));
    received.text += (i == 0 ? "" : "\n") + read_judgement_text(map, names[i], judgement, received.page);
    received.reads.items.push_back(read_judgement_json(map, names[i], judgement));
    received.sound = received.sound && judgement.sound();
    received.judgements.push_back(std::move(judgement));
  }
  return {};
}

Status vote(const ReceiveOptions& options, const RegionMap& map, Received& received) {
  std::vector<const Image*> images;
  for (const ReadJudgement& judgement : received.judgements) images.push_back(&judgement.read.image);
  const Result<Vote> vote = vote_reads(map, images);
  // Reads that cannot be compared are judged all the same.
  if (!vote && vote.error().reason != Reason::kReadIncomplete) return fail(vote.error());
  if (!vote) {
    if (!options.outputs.empty()) received.not_written = vote.error();
    received.text += "\n" + labelled(received.page, "not compared",
                                     vote.error().found + "; " + vote.error().next, Mark::kCaution);
    return {};
  }
  received.text += "\n" + vote_text(map, *vote, images.size(), received.page);
  received.vote = vote_json(map, *vote);
  received.sound = received.sound && vote->only_volatile();
  const auto first = std::ranges::find(vote->compared, true) - vote->compared.begin();
  const Read& form = received.judgements[static_cast<std::size_t>(first)].read;
  Status written = write_voted(options.outputs, map, form, *vote);
  if (written || written.error().reason != Reason::kChecksumFails) return written;
  received.not_written = std::move(written).error();
  return {};
}

}  // namespace

Result<int> receive_as_told(const ReceiveOptions& options, const Console& console) {
  if (options.again.size() % options.reads.size() != 0) {
    return fail({Reason::kUsage, "", "--again", counted(options.again.size(), "file", "files"),
                 "as many files as the read has, for each further read", "repeat --again for every file"});
  }
  std::vector<std::string> inputs = paths_of(options.reads);
  for (const std::string& path : paths_of(options.again)) inputs.push_back(path);
  CALSEAL_CHECK(refuse_clashes(options.outputs, inputs));
  Progress progress(console, 0);
  progress.begin("reading region maps");
  CALSEAL_ASSIGN(const RegionMapLibrary library, load_region_maps(options.regions));
  CALSEAL_ASSIGN(const LoadedReads loaded, load_received(options));
  const std::vector<std::vector<ReadFile>>& reads = loaded.reads;
  Received received;
  received.page = page_for(console);
  progress.begin("choosing among " + counted(library.maps.size(), "region map", "region maps"));
  const MapChoice choice = choose_region_map(library, reads.front());
  const Result<std::size_t> chosen = map_to_judge_by(library, choice);
  if (!chosen) {
    progress.end();
    if (!console.json) console.note(map_choice_text(library, choice, received.page));
    return fail(chosen.error());
  }
  const RegionMap& map = library.maps[*chosen].map;
  std::vector<KnownStock> stocks;
  if (!options.known.empty()) {
    progress.begin("reading known stocks");
    CALSEAL_ASSIGN(stocks, load_known_stocks(map, options.known));
  }
  if (library.maps.size() > 1) received.text = map_choice_text(library, choice, received.page) + "\n";
  CALSEAL_CHECK(judge_reads(map, reads, loaded.names, stocks, progress, received));
  if (reads.size() > 1) {
    progress.begin("comparing the reads");
    CALSEAL_CHECK(vote(options, map, received));
  }
  progress.end();
  console.print(received.text);
  console.print_json(
      json_object({{"calseal", json("receive/1")},
                   {"reads", received.reads},
                   {"vote", received.vote},
                   {"not_written", received.not_written ? json_error(*received.not_written) : JsonValue()},
                   {"sound", json(received.sound)}}));
  if (received.not_written && !console.json) return console.fail(*received.not_written);
  return received.sound && !received.not_written ? 0 : 1;
}

}  // namespace calseal
