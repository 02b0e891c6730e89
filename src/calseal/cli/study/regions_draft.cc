#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/interrupt.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/study/study_commands.h"
#include "calseal/image/form.h"
#include "calseal/report/study/draft_report.h"

namespace calseal {
namespace {

struct DraftOptions {
  std::vector<std::string> images;
  std::string output, origin;
  DraftNames names;
  std::uint64_t grid = kSearchGrid;
  bool force = false;
};

// A raw image, or a record file of one stretch of addresses, which then says where the memory begins.
Result<Segment> load_image(const std::string& path) {
  CALSEAL_ASSIGN(Bytes bytes, read_file(path, kRecordTextLimit));
  CALSEAL_ASSIGN(FormFile form, parse_form(std::move(bytes), printable(path)));
  if (form.segments.size() != 1)
    return fail({Reason::kImageSize, printable(path), "",
                 std::to_string(form.segments.size()) + " stretches of addresses", "one memory without gaps",
                 "draft each memory apart, from a raw file or one stretch of records"});
  return std::move(form.segments.front());
}

Result<int> draft(const DraftOptions& options, const Console& console) {
  DraftNames names = options.names;
  if (!options.origin.empty()) {
    names.origin = parse_address(options.origin);
    if (!names.origin)
      return fail({Reason::kUsage, "", "--origin", printable(options.origin),
                   "an address: 0x and eight lower-case digits",
                   "give the address of the image's first byte, as 0x80000000"});
  }
  if (!options.output.empty()) CALSEAL_CHECK(refuse_clashes({options.output}, options.images));
  std::vector<Segment> images;
  for (const std::string& path : options.images) {
    CALSEAL_ASSIGN(Segment image, load_image(path));
    if (!names.origin && image.address != 0) names.origin = image.address;
    images.push_back(std::move(image));
  }
  ChecksumSearch search;
  for (const Segment& image : images) search.images.push_back(image.bytes);
  search.grid = options.grid;
  std::optional<MapDraft> drafted;
  {
    const InterruptionAsked interruption;
    Progress progress(console, "searching (Ctrl-C: what is found so far)");
    search.progress = [&](double share) {
      progress.at(std::to_string(static_cast<int>(share * 100)) + " %");
      return !interruption.asked();
    };
    CALSEAL_ASSIGN(drafted, draft_region_map(search, names));
  }
  if (!options.output.empty())
    CALSEAL_CHECK(write_file(options.output, drafted->text, FileMode::kPublic,
                             options.force ? Existing::kReplace : Existing::kRefuse));
  const Page page = page_for(console);
  std::string text = draft_text(*drafted, page);
  text += options.output.empty()
              ? labelled(page, "next", "-o MAP.json writes the region map")
              : labelled(page, "written", printable(options.output)) +
                    labelled(page, "next",
                             "calseal regions lint " + printable(options.output) + " --image " +
                                 names.memory + "=" + printable(options.images.front()) +
                                 "; then read its guesses, and declare what may be edited");
  console.print(text + labelled(page, "caution",
                                "a draft proves nothing about the controller: a checksum that it does not "
                                "know of stays wrong after an edit",
                                Mark::kCaution));
  JsonValue value =
      json_object({{"calseal", json("regions-draft/1")}, {"output", json(printable(options.output, 16384))}});
  for (JsonMember& one : draft_json(*drafted).members) value.members.push_back(std::move(one));
  console.print_json(value);
  return drafted->search.is_whole() ? 0 : 130;
}

}  // namespace

void add_regions_draft_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.subcommand("regions")->add_subcommand(
      "draft", "Search images of an unknown controller for checksums, and draft a region map");
  auto o = std::make_shared<DraftOptions>();
  command
      ->add_option("IMAGE", o->images,
                   "One memory, raw or records without gaps; more of the same family tell more")
      ->takes("FILE")
      ->required();
  command->add_option("-o,--output", o->output, "The region map to write")->takes("FILE");
  command->add_flag("--force", o->force, "Replace the output if it exists");
  command
      ->add_option("--origin", o->origin,
                   "Address of the first byte (default: as tables in the image say, else 0x00000000)")
      ->takes("ADDRESS");
  command
      ->add_option("--grid", o->grid,
                   "Bytes between the points where ranges may begin and end: 4096, or finer and slower")
      ->one_of({256, 512, 1024, 2048, 4096, 8192, 16384, 32768, 65536});
  command->add_option("--name", o->names.map, "Name of the region map")->takes("NAME");
  command->add_option("--controller", o->names.controller, "Controller part")->takes("NAME");
  command->add_option("--memory", o->names.memory, "Name of the memory")->takes("NAME");
  set_command(
      *command, console,
      {"calseal regions draft read.bin -o draft.json",
       "calseal regions draft soft-345.bin soft-391.bin --origin 0x80000000 -o draft.json",
       "calseal regions draft read.bin --grid 1024"},
      [o](Console& c) { return draft(*o, c); }, status);
}

}  // namespace calseal
