#include "calseal/job/new_job.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/ledger_link.h"
#include "calseal/job/take_parcel.h"

namespace calseal {
namespace {

// The parcel that the reads came in, and a note of it behind what is noted of this controller.
void note_parcel(const OpenedParcel& parcel, UtcTime now, ControllerFolder& folder) {
  const std::string line = write_event(received_event(parcel, parcel_file(1), 1, now));
  for (NewFile& file : folder.files) {
    if (file.path == kEventsFile) file.bytes.insert(file.bytes.end(), line.begin(), line.end());
  }
}

// A controller's folder and what is in it, as parts of the job's.
void put_into(ControllerFolder folder, std::vector<std::string>& subfolders, std::vector<NewFile>& files) {
  const std::string top = folder.opened.controller + "/";
  subfolders.push_back(folder.opened.controller);
  for (const std::string& name : folder.subfolders) subfolders.push_back(top + name);
  for (NewFile& file : folder.files) files.push_back({top + file.path, std::move(file.bytes), file.mode});
}

Status require_names(const NewJob& request, const std::vector<OpenedBase>& opened) {
  if (!is_name(request.job)) {
    return fail({Reason::kUsage, "", "--job", "\"" + printable(request.job, 80) + "\"",
                 "a name: a-z, 0-9, - and _, at most 64 characters", "name the job so, or the folder"});
  }
  for (std::size_t i = 0; i < opened.size(); ++i) {
    const std::string& name = opened[i].controller;
    const bool twice = std::ranges::count(opened, name, &OpenedBase::controller) > 1;
    if (twice || handover_number(name) != 0) {
      return fail({Reason::kUsage, "", "controller", name,
                   twice ? "each controller once" : "a name that no hand-over has", "see the region maps"});
    }
  }
  return {};
}

// It reports to the ledger that the other controllers report to; the path from its folder is the same.
Status share_ledger(const VehicleJob& job, ControllerFolder& folder) {
  const std::string path = job.controllers.front().folder + "/" + std::string(kLedgerLinkFile);
  if (!exists(path)) return {};
  CALSEAL_ASSIGN(Bytes link, read_file(path, kJobFileSizeLimit));
  folder.files.push_back({std::string(kLedgerLinkFile), std::move(link)});
  return {};
}

}  // namespace

Result<MadeJob> make_job(const NewJob& request, const std::optional<Signing>& signing,
                         const WayBackMessage& message) {
  MadeJob made;
  std::vector<std::string> subfolders;
  std::vector<NewFile> files;
  const UtcTime now = signing ? signing->now : current_time();
  for (const NewController& controller : request.controllers) {
    CALSEAL_ASSIGN(ControllerFolder folder, plan_controller(request, controller, signing));
    if (request.parcel != nullptr) note_parcel(*request.parcel, now, folder);
    made.opened.push_back(folder.opened);
    put_into(std::move(folder), subfolders, files);
  }
  CALSEAL_CHECK(require_names(request, made.opened));
  if (request.parcel != nullptr) {
    subfolders.emplace_back(kParcelFolder);
    files.push_back({parcel_file(1), request.parcel->file});
  }
  const std::string facts =
      write_vehicle_facts({request.job, request.vehicle_reference, time_text(now), request.shop});
  files.push_back({std::string(kVehicleFile), Bytes(facts.begin(), facts.end())});
  if (signing) {
    made.handover = handover_folder(1);
    subfolders.push_back(made.handover);
    for (const OpenedBase& opened : made.opened) {
      HandedBundle bundle = handed_bundle(opened.bundle, *opened.sealed);
      files.push_back({made.handover + "/" + bundle.name, std::move(bundle.bytes)});
    }
    const std::string text = message(request, made.opened);
    files.push_back({made.handover + "/" + std::string(kMessageFile), Bytes(text.begin(), text.end())});
  }
  CALSEAL_CHECK(make_folder(request.folder, subfolders, files));
  return made;
}

Result<MadeJob> add_controller(const VehicleJob& job, const NewController& controller,
                               const std::optional<Signing>& signing, const WayBackMessage& message) {
  NewJob request;
  request.job = job.facts.job;
  request.vehicle_reference = job.facts.vehicle_reference;
  CALSEAL_ASSIGN(request.salt, load_job_salt(job.controllers.front().folder));
  CALSEAL_ASSIGN(ControllerFolder folder, plan_controller(request, controller, signing));
  MadeJob made;
  made.opened.push_back(folder.opened);
  CALSEAL_CHECK(require_names(request, made.opened));
  CALSEAL_CHECK(share_ledger(job, folder));
  const std::string place = job.folder + "/" + folder.opened.controller;
  CALSEAL_CHECK(make_folder(place, folder.subfolders, folder.files));
  if (!signing) return made;
  CALSEAL_ASSIGN(made.handover,
                 make_handover(job.folder, {handed_bundle(folder.opened.bundle, *folder.opened.sealed)},
                               message(request, made.opened)));
  return made;
}

}  // namespace calseal
