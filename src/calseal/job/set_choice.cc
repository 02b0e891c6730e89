#include "calseal/job/set_choice.h"

#include <algorithm>

namespace calseal {
namespace {

bool asks_for(const std::vector<SendRequest>& requests, const std::string& controller) {
  return std::ranges::find(requests, controller, &SendRequest::controller) != requests.end();
}

// The newest revision, where it is a member of a set.
const JobRevision* newest_in_set(const Job& job) {
  const JobRevision* newest = job.base().newest();
  return newest != nullptr && newest->set && !job.closed() ? newest : nullptr;
}

std::vector<std::string> partners_left(const VehicleJob& job, const std::vector<SendRequest>& requests) {
  std::vector<std::string> names;
  for (const SendRequest& request : requests) {
    const Job* owner = job.find(request.controller);
    const JobRevision* newest = owner == nullptr ? nullptr : newest_in_set(*owner);
    if (newest == nullptr) continue;
    for (const SetMember& member : newest->set->members) {
      const Job* partner = job.find(member.controller);
      const bool listed = std::ranges::find(names, member.controller) != names.end();
      if (partner != nullptr && !partner->closed() && !listed && !asks_for(requests, member.controller))
        names.push_back(member.controller);
    }
  }
  return names;
}

void add_again(const std::string& controller, std::vector<SendRequest>& requests) {
  requests.emplace_back();
  requests.back().controller = controller;
  requests.back().again = true;
}

}  // namespace

Status add_partners(const VehicleJob& job, SetChoice choice, std::vector<SendRequest>& requests) {
  if (choice == SetChoice::kRenew && requests.empty()) {
    for (const Job& one : job.controllers) {
      if (newest_in_set(one) != nullptr) add_again(one.facts.controller, requests);
    }
  }
  const std::vector<std::string> left = partners_left(job, requests);
  if (left.empty() || choice == SetChoice::kLeave) return {};
  if (choice == SetChoice::kRenew) {
    for (const std::string& name : left) add_again(name, requests);
    return {};
  }
  return fail(
      {Reason::kUsage, "", "--set", "one member of a set, without " + left.front(),
       "renew: " + left.front() +
           " is sealed again unchanged, and both are a new set; or leave: this revision is valid alone",
       "give --set renew or --set leave, or send edits of both"});
}

}  // namespace calseal
