#include "calseal/job/new_job.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/customer_order.h"
#include "calseal/job/ledger_link.h"
#include "calseal/job/take_parcel.h"

namespace calseal {
namespace {

// What is noted of every controller: the parcel that the reads came in, and the order; his parcel's, or else
// that of the option files that came with them.
std::vector<Event> notes_of(const std::vector<NewController>& controllers, const OpenedParcel* parcel,
                            UtcTime now) {
  std::vector<Event> events;
  if (parcel != nullptr) {
    events = parcel_events(*parcel, parcel_file(1), 1, now);
    if (!parcel->parcel.order.empty()) return events;
  }
  std::vector<std::string> names;
  for (const NewController& controller : controllers) {
    for (const OptionFile& option : controller.options) names.push_back(option.option.name);
  }
  if (!names.empty()) events.push_back(ordered_event(std::move(names), std::nullopt, 1, now));
  return events;
}

// Behind what is noted of this controller already.
void add_notes(const std::vector<Event>& events, ControllerFolder& folder) {
  std::string lines;
  for (const Event& event : events) lines += write_event(event);
  for (NewFile& file : folder.files) {
    if (file.path == kEventsFile) file.bytes.insert(file.bytes.end(), lines.begin(), lines.end());
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
  const std::vector<Event> notes = notes_of(request.controllers, request.parcel, now);
  for (const NewController& controller : request.controllers) {
    CALSEAL_ASSIGN(ControllerFolder folder, plan_controller(request, controller, signing));
    add_notes(notes, folder);
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
  const UtcTime now = signing ? signing->now : current_time();
  if (const CustomerOrder order = order_of(job); !order.time.empty()) {
    Event event = ordered_event(order.options, order.parcel, 1, now);
    event.time = order.time;
    add_notes({event}, folder);
  } else {
    add_notes(notes_of({controller}, nullptr, now), folder);
  }
  const std::string place = job.folder + "/" + folder.opened.controller;
  CALSEAL_CHECK(make_folder(place, folder.subfolders, folder.files));
  if (!signing) return made;
  CALSEAL_ASSIGN(made.handover,
                 make_handover(job.folder, {handed_bundle(folder.opened.bundle, *folder.opened.sealed)},
                               message(request, made.opened)));
  return made;
}

}  // namespace calseal
