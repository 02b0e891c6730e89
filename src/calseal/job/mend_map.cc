#include "calseal/job/mend_map.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/layout.h"
#include "calseal/job/open_base.h"
#include "calseal/job/send.h"

namespace calseal {
namespace {

std::string version_words(const RegionMap& map) {
  return map.controller + ", " + map.name + " version " + std::to_string(map.version);
}

Event mended_event(const Job& job, const MendedMap& mended, UtcTime now) {
  Event event;
  event.time = time_text(now);
  event.kind = EventKind::kRemark;
  event.base = job.base().number;
  event.detail =
      "region map " + mended.after.name + ", version " + std::to_string(mended.before.version) + " to " +
      std::to_string(mended.after.version) +
      (mended.diff.widens ? ": allows more or verifies less" : ": allows no more, verifies no less");
  event.file = mended.file;
  event.digest = mended.after.digest;
  return event;
}

// Whether or not it is as it was noted.
Result<RegionMap> newest_map(const Job& job, const OpenedBundle& way_back) {
  if (job.base().mended_map.empty()) return way_back.map;
  const std::string path = job.folder + "/" + job.base().mended_map;
  CALSEAL_ASSIGN(Bytes text, read_file(path, kRegionMapSizeLimit));
  return parse_region_map(std::move(text), printable(path));
}

}  // namespace

Result<RegionMap> map_in_force(const Job& job, const OpenedBundle& way_back) {
  const std::string& fault = job.base().mended_fault;
  if (fault.empty()) return newest_map(job, way_back);
  return fail({Reason::kJobDamaged, printable(job.folder), base_folder(job.base().number), fault,
               "the region map that was noted last",
               "put it back from a copy, or go on with a higher version: calseal job regions"});
}

Result<MendedMap> mend_map(const Job& job, Bytes text, const std::string& name, UtcTime now) {
  const JobBase& base = job.base();
  const JobRevision* revision = base.way_back();
  if (revision == nullptr) {
    return fail({Reason::kJobOrder, printable(job.folder), "", "no revision 0 of this base",
                 "the way back, sealed with the map that the job began with",
                 "make the job anew with the mended map"});
  }
  CALSEAL_ASSIGN(const OpenedBundle way_back, reopen(job, *revision));
  CALSEAL_ASSIGN(RegionMap before, newest_map(job, way_back));
  CALSEAL_ASSIGN(std::vector<ReadFile> read, load_kept_read(job.folder, base.number));
  CALSEAL_ASSIGN(BaseParts parts, load_base(std::move(text), name, std::move(read)));
  MendedMap mended;
  mended.before = std::move(before);
  mended.after = std::move(parts.map);
  if (mended.after.name != mended.before.name || mended.after.controller != mended.before.controller ||
      mended.after.version <= mended.before.version) {
    return fail({Reason::kUsage, name, "", version_words(mended.after),
                 "a higher version of " + version_words(mended.before),
                 "raise its version; another software number is a new base: calseal job carry"});
  }
  mended.diff = diff_region_maps(mended.before, mended.after);
  mended.file = mended_map_file(base.number, mended.after.version);
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {mended_event(job, mended, now)}));
  CALSEAL_CHECK(
      write_files({{job.folder + "/" + mended.file, mended.after.text, FileMode::kPublic, Existing::kRefuse},
                   {job.folder + "/" + std::string(kEventsFile), view_of(events)}}));
  return mended;
}

}  // namespace calseal
