#include "calseal/parcel/judge.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

tl::unexpected<Error> other(const std::string& name, std::string place, std::string found,
                            std::string expected, std::string next) {
  return fail(
      {Reason::kParcelOther, name, std::move(place), std::move(found), std::move(expected), std::move(next)});
}

}  // namespace

Status check_parcel_root(const Parcel& parcel, const std::vector<KeyId>& roots, const std::string& name) {
  if (!parcel.root || std::ranges::find(roots, *parcel.root) != roots.end()) return {};
  return other(
      name, "/root", spoken_code(Spoken::kKey, *parcel.root),
      roots.empty() ? "no root" : spoken_code(Spoken::kKey, roots.front()) + ", the root of your shop",
      "ask the customer for whom he made it");
}

bool is_of_another_sheet(const Parcel& parcel, const Sha256& sheet) {
  return parcel.sheet && *parcel.sheet != sheet;
}

Status check_parcel_job(const Parcel& parcel, const std::string& job, const std::string& vehicle_reference,
                        const std::string& name) {
  if (!parcel.job.empty() && parcel.job != job)
    return other(name, "/job", parcel.job, job, "take it into the job that it names");
  if (!parcel.vehicle_reference.empty() && !vehicle_reference.empty() &&
      parcel.vehicle_reference != vehicle_reference)
    return other(name, "/vehicle_reference", "\"" + printable(parcel.vehicle_reference) + "\"",
                 "\"" + printable(vehicle_reference) + "\"",
                 "ask the customer which vehicle it is about; take it into that vehicle's job");
  return {};
}

Status check_parcel_sender(const Parcel& parcel, const std::vector<EarlierParcel>& earlier,
                           bool customer_changed, const std::string& name) {
  if (earlier.empty()) return {};
  const KeyId& known = earlier.back().key;
  const KeyId sender = compute_key_id(parcel.key);
  if (!customer_changed && sender != known)
    return other(name, "/key", parcel_fingerprint(parcel),
                 spoken_code(Spoken::kKey, known) + ", the key of this job's customer",
                 "ask the customer by voice; --customer-changed takes his new key");
  std::uint64_t newest = 0;
  for (const EarlierParcel& one : earlier) {
    if (one.key == sender) newest = std::max(newest, one.number);
  }
  if (parcel.number > newest) return {};
  return fail({Reason::kParcelOld, name, "/number", grouped(parcel.number),
               "above " + grouped(newest) + ", the number of this customer's newest parcel in the job",
               "it is here already, or was overtaken; ask the customer whether he meant this one"});
}

}  // namespace calseal
