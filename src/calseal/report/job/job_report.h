// What a job folder says, and what a command did in it, for people and for programs.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/job/attach_log.h"
#include "calseal/job/carry.h"
#include "calseal/job/next_step.h"
#include "calseal/job/note.h"
#include "calseal/job/reissue.h"
#include "calseal/job/send.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// Every controller's bases and revisions with their facts, logs, findings, and the next steps.
// `seals_judged`: a trust file was given.
std::string job_text(const VehicleJob& job, bool seals_judged, const Page& page);
JsonValue job_json(const VehicleJob& job, bool seals_judged);  // {"calseal":"job-status/1", ...}

std::string next_step_text(const NextStep& step, const Page& page);
JsonValue next_step_json(const NextStep& step);  // {"code","controller","base","revision","text","command"}
std::string next_steps_text(const VehicleJob& job, const Page& page);
JsonValue next_steps_json(const VehicleJob& job);

// What goes to the customer now, one line each: files, and by which way. `handover`: its folder within the
// job's.
std::string handover_text(const VehicleJob& job, const std::string& handover, const Page& page);
JsonValue handover_json(const VehicleJob& job, const std::string& handover);

// The text that goes along with a hand-over: what is in it, and what to do with it.
std::string sent_message(const VehicleJob& job, const SentTogether& sent);
std::string kept_message(const VehicleJob& job, const std::vector<HandedBundle>& bundles);
std::string way_back_message(const NewJob& job, const std::vector<OpenedBase>& opened);

std::string sent_text(const VehicleJob& job, const SentTogether& sent, const Page& page);
JsonValue sent_json(const VehicleJob& job, const SentTogether& sent);  // {"calseal":"job-send/1", ...}

std::string carried_base_text(const Job& job, const NewBase& made, const Page& page);
JsonValue carried_base_json(const NewBase& made);  // {"calseal":"job-carry/1", ...}

std::string reissued_text(const Job& job, const Reissued& made, const Page& page);
JsonValue reissued_json(const Job& job, const Reissued& made);  // {"calseal":"job-reissue/1", ...}

// "12,345 rows", or that it was not measured.
std::string log_length(const LogFacts& log);
std::string attached_log_text(const AttachedLog& log, const Page& page);
JsonValue attached_log_json(const AttachedLog& log);  // {"calseal":"job-log/1", ...}

}  // namespace calseal
