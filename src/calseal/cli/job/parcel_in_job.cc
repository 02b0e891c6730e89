#include "calseal/cli/job/parcel_in_job.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

// The revision that was driven, as the customer says: where the job has it.
struct Driven {
  const Job* job;
  const JobRevision* revision = nullptr;
};
Driven driven(const VehicleJob& job, const ParcelLog& log) {
  for (const Job& controller : job.controllers) {
    for (const JobBase& base : controller.bases) {
      for (const JobRevision& revision : base.revisions) {
        if (log.revision == revision.digest) return {&controller, &revision};
      }
    }
  }
  return {&job.controllers.front()};
}

// His word counts where nothing in the log says otherwise; a log that does is kept as what it says.
Result<AttachedLog> attach(const Driven& where, AttachRequest request, std::uint64_t number, UtcTime now) {
  if (where.revision != nullptr) {
    AttachRequest told = request;
    told.base = where.revision->manifest.base_number;
    told.revision = where.revision->number();
    told.word = "the customer's word in his parcel " + std::to_string(number);
    Result<AttachedLog> attached = attach_log(*where.job, told, now);
    if (attached || attached.error().reason != Reason::kLogRevision) return attached;
  }
  return attach_log(*where.job, request, now);
}

TakenLog take_log(const std::string& folder, const OpenedParcel& parcel, std::size_t index, UtcTime now) {
  const ParcelLog& log = parcel.parcel.logs[index];
  TakenLog taken{log.entry, "", std::nullopt, std::nullopt};
  const auto attached = [&]() -> Result<AttachedLog> {
    // Each one changes what is noted, so the job is read again.
    CALSEAL_ASSIGN(const VehicleJob job, read_vehicle_job(folder, {}));
    const Driven where = driven(job, log);
    taken.controller = where.job->facts.controller;
    CALSEAL_ASSIGN(const Bytes content, parcel.content(parcel.parcel.reads.size() + index));
    AttachRequest request;
    request.path = log.file_name;
    request.name = parcel.name + ": " + log.entry;
    request.content = content;
    return attach(where, std::move(request), parcel.parcel.number, now);
  }();
  if (attached) {
    taken.attached = *attached;
  } else {
    taken.not_attached = attached.error();
  }
  return taken;
}

// A parcel that the job has, with its logs attached.
TakenParcel with_logs(const std::string& folder, const OpenedParcel& parcel, const std::string& file,
                      UtcTime now) {
  TakenParcel taken{file, parcel_fingerprint(parcel.parcel), parcel.parcel.number, {}};
  for (std::size_t i = 0; i < parcel.parcel.logs.size(); ++i)
    taken.logs.push_back(take_log(folder, parcel, i, now));
  return taken;
}

std::string revision_words(const Event& event) {
  return event.revision ? "of revision " + std::to_string(*event.revision) : "of no revision";
}

}  // namespace

void add_customer_changed(CommandLine& command, bool& changed) {
  command.add_flag("--customer-changed", changed,
                   "The customer has a new key, and confirmed its fingerprint by voice (for a parcel)");
}

Status put_parcel_into(const std::optional<OpenedParcel>& parcel, NewJob& request) {
  if (!parcel) return {};
  request.parcel = &*parcel;
  if (request.vehicle_reference.empty()) request.vehicle_reference = parcel->parcel.vehicle_reference;
  return check_parcel_job(parcel->parcel, request.job, request.vehicle_reference, parcel->name);
}

Result<TakenParcel> take_parcel(const VehicleJob& job, const OpenedParcel& parcel, UtcTime now) {
  CALSEAL_ASSIGN(const std::string file, keep_parcel(job, parcel, now));
  return with_logs(job.folder, parcel, file, now);
}

Result<TakenParcel> attach_parcel_logs(const std::string& folder, const OpenedParcel& parcel,
                                       const std::string& file) {
  CALSEAL_ASSIGN(const JobLock lock, JobLock::take(folder));
  return with_logs(folder, parcel, file, current_time());
}

std::string taken_parcel_text(const TakenParcel& taken, const Page& page) {
  if (taken.file.empty()) return "";
  std::string text = labelled(page, "parcel",
                              taken.file + ", number " + std::to_string(taken.number) +
                                  " by the customer's key " + taken.fingerprint);
  for (const TakenLog& log : taken.logs) {
    if (log.attached) {
      text += labelled(page, "log",
                       log.entry + ": " + log.controller + "/" + log.attached->event.file + ", " +
                           revision_words(log.attached->event) + ", by " + log.attached->event.log->by);
      continue;
    }
    text += labelled(page, "log",
                     log.entry + ": not attached: " + log.not_attached->found + "; " +
                         log.not_attached->next + " (it stays in the parcel)",
                     Mark::kCaution);
  }
  return text;
}

void add_taken_parcel(JsonValue& value, const TakenParcel& taken) {
  if (taken.file.empty()) return;
  value.members.emplace_back(
      "parcel",
      json_object(
          {{"file", json(taken.file)},
           {"key_fingerprint", json(taken.fingerprint)},
           {"number", json(taken.number)},
           {"logs", json_array(taken.logs, [](const TakenLog& log) {
              return json_object(
                  {{"entry", json(log.entry)},
                   {"controller", json(log.controller)},
                   {"file", json(log.attached ? log.attached->event.file : "")},
                   {"revision", json_digest(log.attached ? log.attached->event.identity : std::nullopt)},
                   {"by", json(log.attached ? log.attached->event.log->by : "")},
                   {"not_attached", log.not_attached ? json_error(*log.not_attached) : JsonValue()}});
            })}}));
}

}  // namespace calseal
