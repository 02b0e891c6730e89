#include "calseal/job/take_parcel.h"

#include <algorithm>
#include <charconv>
#include <filesystem>

#include "calseal/base/text.h"
#include "calseal/job/customer_order.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

constexpr std::string_view kEnding = ".parcel";

// The number in such a name; 0 for another name.
std::uint64_t number_of(std::string_view name) {
  if (!name.ends_with(kEnding)) return 0;
  name.remove_suffix(kEnding.size());
  std::uint64_t number = 0;
  const auto [end, error] = std::from_chars(name.data(), name.data() + name.size(), number);
  return error == std::errc() && end == name.data() + name.size() ? number : 0;
}

// The number under which a parcel was kept; 0 where the note does not say it.
std::uint64_t kept_as(const Event& event) {
  const std::string prefix = std::string(kParcelFolder) + "/";
  if (!event.detail.starts_with(prefix)) return 0;
  return number_of(std::string_view(event.detail).substr(prefix.size()));
}

// What was noted of parcels, of all controllers, in the order in which they came.
std::vector<Event> received_events(const VehicleJob& job) {
  std::vector<Event> noted;
  for (const Job& controller : job.controllers) {
    for (const Event& event : controller.events) {
      if (event.kind == EventKind::kReceived && event.parcel) noted.push_back(event);
    }
  }
  std::ranges::stable_sort(noted, {}, kept_as);
  return noted;
}

// Above those of parcels that were erased, too: a number is never given twice.
Result<std::uint64_t> next_number(const VehicleJob& job) {
  std::uint64_t newest = 0;
  for (const Event& event : received_events(job)) newest = std::max(newest, kept_as(event));
  CALSEAL_ASSIGN(const std::vector<std::string> names,
                 names_in(job.folder + "/" + std::string(kParcelFolder)));
  for (const std::string& name : names) newest = std::max(newest, number_of(name));
  return newest + 1;
}

Status make_parcel_folder(const std::string& folder) {
  std::error_code error;
  std::filesystem::create_directory(folder, error);
  if (!error) return {};
  return fail({Reason::kWriteFailed, printable(folder), "", error.message(), "a folder for parcels",
               "check the disk and the permissions, then try again"});
}

}  // namespace

std::string parcel_file(std::uint64_t number) {
  return std::string(kParcelFolder) + "/" + std::to_string(number) + std::string(kEnding);
}

std::vector<Event> parcel_events(const OpenedParcel& parcel, const std::string& file, std::uint64_t base,
                                 UtcTime now) {
  Event event;
  event.time = time_text(now);
  event.kind = EventKind::kReceived;
  event.base = base;
  event.detail = file;
  event.digest = parcel.digest;
  event.parcel = ParcelFacts{compute_key_id(parcel.parcel.key), parcel.parcel.number};
  std::vector<Event> events{std::move(event)};
  if (std::optional<Event> ordered = ordered_by(parcel, base, now)) events.push_back(*std::move(ordered));
  return events;
}

std::vector<EarlierParcel> parcels_of(const VehicleJob& job) {
  std::vector<EarlierParcel> parcels;
  for (const Event& event : received_events(job))
    parcels.push_back({event.parcel->key, event.parcel->number});
  return parcels;
}

namespace {

// Parcels are here and no note of one: then nobody knows whose key counts, and it is no first use.
Status require_notes(const VehicleJob& job) {
  if (!received_events(job).empty()) return {};
  CALSEAL_ASSIGN(const std::vector<std::string> names,
                 names_in(job.folder + "/" + std::string(kParcelFolder)));
  const auto kept = std::ranges::find_if(names, [](const std::string& name) { return number_of(name) != 0; });
  if (kept == names.end()) return {};
  return fail({Reason::kJobDamaged, printable(job.folder), std::string(kParcelFolder) + "/" + *kept,
               "a parcel, and no note of any", "the note of who sent it, in events.jsonl",
               "put events.jsonl back; where it is lost, compare the customer's fingerprint by voice and say "
               "--customer-changed"});
}

}  // namespace

Status judge_parcel(const VehicleJob& job, const OpenedParcel& parcel, bool customer_changed) {
  if (!customer_changed) CALSEAL_CHECK(require_notes(job));
  CALSEAL_CHECK(check_parcel_job(parcel.parcel, job.facts.job, job.facts.vehicle_reference, parcel.name));
  return check_parcel_sender(parcel.parcel, parcels_of(job), customer_changed, parcel.name);
}

Result<std::string> keep_parcel(const VehicleJob& job, const OpenedParcel& parcel, UtcTime now) {
  CALSEAL_ASSIGN(const std::uint64_t number, next_number(job));
  const std::string file = parcel_file(number);
  CALSEAL_CHECK(make_parcel_folder(job.folder + "/" + std::string(kParcelFolder)));
  std::vector<std::string> texts;
  for (const Job& controller : job.controllers) {
    CALSEAL_ASSIGN(std::string text, with_events(controller.folder,
                                                 parcel_events(parcel, file, controller.base().number, now)));
    texts.push_back(std::move(text));
  }
  std::vector<PendingFile> files{
      {job.folder + "/" + file, parcel.file, FileMode::kPublic, Existing::kRefuse}};
  for (std::size_t i = 0; i < texts.size(); ++i)
    files.push_back({job.controllers[i].folder + "/" + std::string(kEventsFile), view_of(texts[i])});
  CALSEAL_CHECK(write_files(files));
  return file;
}

}  // namespace calseal
