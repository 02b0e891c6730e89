#include "calseal/job/carry.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/change/confine.h"
#include "calseal/change/stock_base.h"
#include "calseal/check/claims.h"
#include "calseal/job/job_options.h"
#include "calseal/job/mend_map.h"
#include "calseal/job/send.h"
#include "calseal/sign/edited_image.h"

namespace calseal {
namespace {

tl::unexpected<Error> carry_usage(std::string place, std::string found, std::string expected,
                                  std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

// A read whose locked and editable bytes are those of the current base is no new base.
Status require_new(const OpenedBundle& way_back, const BaseParts& base) {
  if (base.map.digest != way_back.map.digest) return {};
  const Image old_base = base_image(way_back, base.map);
  CALSEAL_ASSIGN(const Plan plan, make_plan(base.map, old_base));
  for (const ChangedRange& change : compare_images(plan, old_base, base.read.image)) {
    if (change.kind == SpanKind::kLocked || change.kind == SpanKind::kBinding) return {};
  }
  return carry_usage("READ", "locked bytes and vehicle as in " + base_folder(way_back.manifest.base_number),
                     "a read after an update or a replacement",
                     "this is no new base: give this read to calseal-check, or send an edit");
}

// Which stock and read a base was made of; shown to whoever asks later. Digests of whole files would let the
// VIN in them be searched for.
Status annotate(const std::string& name, const RegionMap& map, const Image& image,
                std::vector<std::pair<std::string, std::string>>& annotations) {
  CALSEAL_ASSIGN(const Plan plan, make_plan(map, image));
  annotations.emplace_back(name, "pinned digest " + digest_text(pinned_digest_of(plan, image)));
  return {};
}

// The stock in place of the read, in the read's own form; notes both in `annotations`.
Status put_stock(const std::vector<ReadFile>& stock, BaseParts& base,
                 std::vector<std::pair<std::string, std::string>>& annotations) {
  CALSEAL_ASSIGN(const Read known, load_read(base.map, stock));
  CALSEAL_CHECK(annotate("base-stock", base.map, known.image, annotations));
  CALSEAL_CHECK(annotate("base-read", base.map, base.read.image, annotations));
  auto image = base_from_stock(base.map, known.image, base.read.image);
  if (!image) return fail(in_file(std::move(image).error(), stock.front().name));
  CALSEAL_ASSIGN(std::vector<Bytes> files, render_read(base.map, base.read, *image));
  for (std::size_t i = 0; i < files.size(); ++i) base.files[i].bytes = std::move(files[i]);
  CALSEAL_ASSIGN(base.read, load_read(base.map, base.files));
  return {};
}

std::string words_of_misfits(const std::vector<CarriedFile>& options) {
  std::string words;
  for (const CarriedFile& option : options) {
    if (!option.fits()) words += (words.empty() ? "did not fit: " : ", ") + option.name;
  }
  if (words.size() > kLineLimit) words.resize(kLineLimit);
  return words;
}

// Tries each option in force on the new base, and notes in `made` what became of it; those that fit come
// back.
Result<std::vector<OptionFile>> carry_options(const Job& job, const OpenedBundle& way_back,
                                              const BaseParts& base, NewBase& made) {
  const Image old_base = base_image(way_back, way_back.map);
  CALSEAL_ASSIGN(const Plan old_plan, make_plan(way_back.map, old_base));
  CALSEAL_ASSIGN(const Plan new_plan, make_plan(base.map, base.read.image));
  CALSEAL_ASSIGN(const std::vector<OptionFile> options, options_in_force(job, job.base()));
  std::vector<OptionFile> fitting;
  for (const OptionFile& option : options) {
    CarriedFile carried;
    carried.name = option.option.name;
    auto result = carry_option(old_plan, old_base, option, new_plan, base.read.image);
    if (!result) {
      carried.problem = result.error();
    } else {
      carried.carried = *std::move(result);
      if (carried.carried.is_whole()) {
        const std::string text = write_option(carried.carried.option);
        CALSEAL_ASSIGN(OptionFile file, parse_option(Bytes(text.begin(), text.end()), option.file));
        carried.file = base_folder(made.number) + "/options/" + carried.name + ".json";
        fitting.push_back(std::move(file));
      }
    }
    made.options.push_back(std::move(carried));
  }
  return fitting;
}

// What is noted of the new base.
std::vector<Event> events_of(const NewBase& made, const std::string& reason, const UtcTime& now) {
  Event opened;
  opened.time = time_text(now);
  opened.kind = EventKind::kOpened;
  opened.base = made.number;
  opened.detail = reason;
  std::vector<Event> events{opened, sealed_event(EventKind::kSealed, made.sealed, made.bundle)};
  if (!made.options.empty()) {
    Event carried = opened;
    carried.kind = EventKind::kCarried;
    carried.detail = words_of_misfits(made.options);
    events.push_back(carried);
  }
  return events;
}

}  // namespace

Result<NewBase> carry(const Job& job, const CarryRequest& request, const Signing& signing) {
  if (request.reason.empty() || !is_line(request.reason))
    return carry_usage("--reason", "no line of words", "why the base is new, in one line",
                       "state it; it is signed");
  const JobBase& current = job.base();
  CALSEAL_ASSIGN(const OpenedBundle way_back, open_way_back(job, signing));
  CALSEAL_ASSIGN(const std::optional<Bytes> salt, load_salt_of(job, way_back));
  Bytes map_text = request.region_map;
  if (map_text.empty()) {
    CALSEAL_ASSIGN(RegionMap in_force, map_in_force(job, way_back));
    map_text = std::move(in_force.text);
  }
  const std::string map_name = request.region_map.empty() ? way_back.name : request.region_map_name;
  const bool from_stock = !request.stock.empty();
  CALSEAL_ASSIGN(BaseParts base, load_base(std::move(map_text), map_name, request.read, from_stock));
  if (base.map.controller != job.facts.controller)
    return carry_usage("--regions", "controller " + base.map.controller, "controller " + job.facts.controller,
                       "another controller is another job");
  std::vector<std::pair<std::string, std::string>> annotations;
  if (from_stock) {
    CALSEAL_CHECK(put_stock(request.stock, base, annotations));
  } else {
    CALSEAL_CHECK(require_new(way_back, base));
  }
  NewBase made;
  made.number = current.number + 1;
  CALSEAL_ASSIGN(const std::vector<OptionFile> fitting, carry_options(job, way_back, base, made));
  BaseStatement said;
  said.job = job.facts.job;
  said.reason = request.reason;
  said.vehicle_reference = way_back.manifest.vehicle_reference;
  said.number = made.number;
  said.annotations = std::move(annotations);
  CALSEAL_ASSIGN(RevisionPlace place, next_place(job, 0, current.newest()->digest, base.map, signing));
  CALSEAL_ASSIGN(made.sealed, seal_base(base, said, std::move(place), salt, signing));
  made.bundle = bundle_file(made.number, 0);
  std::vector<NewFile> files = base_files(base, fitting, "");
  files.push_back({"r0.calseal", made.sealed.file});
  CALSEAL_CHECK(make_folder(job.folder + "/" + base_folder(made.number), base_subfolders(), files));
  CALSEAL_ASSIGN(const std::string events,
                 with_events(job.folder, events_of(made, request.reason, signing.now)));
  CALSEAL_CHECK(write_file(job.folder + "/" + std::string(kEventsFile), view_of(events)));
  made.from = way_back.map;
  made.to = std::move(base.map);
  return made;
}

}  // namespace calseal
