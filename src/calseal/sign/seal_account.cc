#include "calseal/sign/seal_account.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/items.h"
#include "calseal/option/account.h"

namespace calseal {
namespace {

Status require_whole_options(const Account& account) {
  for (const Account::Share& share : account.shares) {
    if (share.missing == 0) continue;
    return fail({Reason::kOptionHalf, "", "option " + share.option,
                 bytes_text(share.missing) + " not as the option puts them",
                 "the whole option, or none of it",
                 "compose the image again, or declare only the options that are in it"});
  }
  return {};
}

Error unaccounted(const RegionMap& map, const Account& account, const Image& base, const Image& result) {
  std::size_t runs = 0;
  const AccountEntry* first = nullptr;
  for (const AccountEntry& entry : account.entries) {
    if (entry.origin != Origin::kUnaccounted) continue;
    if (runs++ == 0) first = &entry;
  }
  const Place& place = first->place;
  const std::string where = place_text(map, place) + (first->region.empty() ? "" : ", " + first->region) +
                            (first->item.empty() ? "" : ", " + first->item);
  return {Reason::kChangeUnaccounted,
          "",
          where + (runs > 1 ? ", and " + std::to_string(runs - 1) + " more" : ""),
          bytes_text(account.bytes(Origin::kUnaccounted)) + " that no option claims; first " +
              hex_excerpt(base.memories[place.memory].view(place.range)) + " -> " +
              hex_excerpt(result.memories[place.memory].view(place.range)),
          "every changed byte in an option or a derived place",
          "undo the change, make it part of an option, or state the reason with --unaccounted"};
}

}  // namespace

Status require_accounted(const SealRequest& request, const Plan& plan, Manifest& manifest,
                         std::vector<Change>& changes) {
  if (manifest.revision == 0) return {};
  const RegionMap& map = *request.map;
  if (!request.options.empty() || request.account) {
    CALSEAL_ASSIGN(const Account account, make_account(plan, request.base, request.result, request.options));
    CALSEAL_CHECK(require_whole_options(account));
    if (!account.is_complete()) {
      if (request.unaccounted_reason.empty())
        return fail(unaccounted(map, account, request.base, request.result));
      manifest.annotations.emplace_back(kUnaccountedAnnotation, request.unaccounted_reason);
    }
    manifest.options = describe_options(request.options);
    name_options(changes, map, account);
  }
  const std::vector<ItemChange> items = compare_items(map, request.base, request.result);
  const std::vector<ItemBreach> breaches = judge_changed_items(items, request.result);
  if (breaches.empty()) return {};
  if (request.limits_reason.empty()) {
    return fail({Reason::kItemLimit, "",
                 breaches.front().item->name +
                     (breaches.size() > 1 ? ", and " + std::to_string(breaches.size() - 1) + " more" : ""),
                 breach_text(breaches.front()), "values within the limits of region map " + map.name,
                 "mend the value, or state the reason with --beyond-limits"});
  }
  manifest.annotations.emplace_back(kLimitAnnotation, request.limits_reason);
  return {};
}

}  // namespace calseal
