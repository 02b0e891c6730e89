#include "calseal/job/worklist.h"

#include <algorithm>
#include <filesystem>
#include <tuple>

#include "calseal/base/text.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

std::string last_noted(const VehicleJob& job) {
  std::string last = job.facts.opened;
  for (const Job& one : job.controllers) {
    for (const Event& event : one.events) last = std::max(last, event.time);
  }
  return last;
}

ListedJob listed(const std::string& path, const std::string& folder, const JobContext& context) {
  ListedJob entry;
  entry.folder = folder;
  const Result<VehicleJob> job = read_vehicle_job(path, context);
  if (!job) {
    entry.fault = job.error();
    return entry;
  }
  entry.facts = job->facts;
  entry.steps = next_steps(*job);
  entry.since = last_noted(*job);
  entry.findings = job->findings.size();
  for (const Job& one : job->controllers) entry.findings += one.findings.size();
  entry.waits = WaitsFor::kNobody;
  for (const NextStep& step : entry.steps) entry.waits = std::min(entry.waits, waits_for(step));
  return entry;
}

class Walk {
 public:
  explicit Walk(const JobContext& context) : context_(context) {}

  void into(const std::string& path, const std::string& below, std::size_t depth) {
    if (exists(path + "/" + std::string(kVehicleFile))) {
      list_.jobs.push_back(listed(path, below.empty() ? "." : below, context_));
      return;
    }
    const Result<std::vector<std::string>> names = names_in(path);
    if (!names) return unread(below);
    for (const std::string& name : *names) {
      std::error_code ignored;
      const auto type = std::filesystem::symlink_status(path + "/" + name, ignored).type();
      if (type == std::filesystem::file_type::none) unread(below.empty() ? name : below + "/" + name);
      if (type != std::filesystem::file_type::directory || name.starts_with('.')) continue;
      if (depth == 0) return unread(below);
      into(path + "/" + name, below.empty() ? name : below + "/" + name, depth - 1);
    }
  }

  Worklist take() {
    std::ranges::stable_sort(list_.jobs, {}, [](const ListedJob& job) {
      return std::tuple(!job.fault, static_cast<int>(job.waits), job.since, job.folder);
    });
    return std::move(list_);
  }

 private:
  void unread(const std::string& below) { list_.unread.push_back(below.empty() ? "." : below); }

  const JobContext& context_;
  Worklist list_;
};

}  // namespace

Result<Worklist> read_worklist(const std::string& folder, const JobContext& context) {
  std::error_code error;
  if (!std::filesystem::is_directory(folder, error)) {
    return fail({Reason::kFileMissing, printable(folder), "", "no such folder", "a folder with jobs in it",
                 "name the folder in which you keep your jobs"});
  }
  Walk walk(context);
  walk.into(folder, "", kWorklistDepth);
  return walk.take();
}

}  // namespace calseal
