#include "calseal/job/shop_of_job.h"

#include <filesystem>

#include "calseal/base/text.h"
#include "calseal/job/vehicle_job.h"

namespace calseal {

Result<std::string> shop_to_keep(const std::string& folder, const std::string& used) {
  if (used.empty()) return std::string();
  std::error_code error;
  const std::optional<std::string> nearest = nearest_shop_file(folder);
  if (nearest && std::filesystem::equivalent(*nearest, used, error)) return std::string();
  if (is_shop_path(used)) return used;
  return fail({Reason::kUsage, printable(used), "", "a path that the job cannot keep",
               "a path in UTF-8 without control characters", "move the shop file to such a place"});
}

Result<std::optional<Shop>> shop_of_job(const std::string& folder) {
  const Result<JobPlace> place = find_job(folder);
  if (!place) return std::optional<Shop>();
  const Result<VehicleFacts> facts = read_vehicle_facts(place->folder);
  if (!facts || facts->shop.empty()) return std::optional<Shop>();
  const std::string path = place->folder + "/" + std::string(kVehicleFile);
  CALSEAL_CHECK(require_own_word(path));
  Result<Shop> shop = read_shop(facts->shop);
  if (shop) return std::optional(*std::move(shop));
  Error error = std::move(shop).error();
  if (error.reason == Reason::kFileMissing) {
    error.found = "nothing of that name, and " + printable(path) + " names it as this job's shop file";
    error.next =
        "say where it is now: --shop FILE, or CALSEAL_SHOP, or shop.json above the job; --no-shop uses none";
  }
  return fail(std::move(error));
}

}  // namespace calseal
