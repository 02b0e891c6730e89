#include "calseal/sign/seal_rules.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/check/rules.h"
#include "calseal/trust/approval.h"

namespace calseal {
namespace {

std::string map_words(const RegionMap& map) { return map.name + " version " + std::to_string(map.version); }

Status require_approved(const RegionMap& before, const RegionMap& after,
                        const std::vector<std::string>& approvals, const TrustFile& trust) {
  if (before.digest == after.digest) return {};
  if (before.name == after.name && before.version == after.version) {
    return fail({Reason::kRulesChanged, "", "region map",
                 map_words(after) + " with another text than in the revision before",
                 "a higher version, since it is another map", "raise \"version\" in the region map"});
  }
  const MapDiff diff = diff_region_maps(before, after);
  if (!diff.widens) return {};
  const Approvals judged = judge_approvals(approvals, after.controller, trust);
  if (approvals_lead(judged.counting, before.digest, after.digest)) return {};
  return fail({Reason::kRulesWidened, "", "region map", widening_text(diff, after),
               "no more than " + map_words(before) +
                   " allows, or an approval: customers whose checker remembers would refuse this",
               "look at the change (calseal regions diff), approve it with a map author's key or the root "
               "(calseal regions approve), and give the approval here (--approval)"});
}

}  // namespace

Status state_approvals(const SealRequest& request, const TrustFile& trust, Manifest& manifest) {
  const std::string& controller = request.map->controller;
  std::vector<std::string> all = request.followed.approvals;
  for (const NamedBytes& given : request.statement.approvals) {
    CALSEAL_ASSIGN(const Approval approval, parse_approval(given.bytes, trust, given.name));
    if (approval.controller != controller) {
      return fail({Reason::kApprovalInvalid, given.name, "/controller", approval.controller,
                   controller + ", as in the region map", "give an approval for this controller"});
    }
    const std::string text(given.bytes.begin(), given.bytes.end());
    if (std::ranges::find(all, text) == all.end()) all.push_back(text);
  }
  if (all.size() > kApprovalLimit) all.erase(all.begin(), all.end() - kApprovalLimit);
  manifest.approvals = all;
  if (!request.followed.map) return {};
  return require_approved(*request.followed.map, *request.map, all, trust);
}

}  // namespace calseal
