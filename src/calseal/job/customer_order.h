// What the customer ordered, and what a revision makes of it: docs/job.md, "What was ordered".
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/manifest.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/option/option_file.h"
#include "calseal/parcel/parcel.h"

namespace calseal {

// The newest note of an order. Without a time none was noted.
struct CustomerOrder {
  std::string time;
  std::optional<Sha256> parcel;      // SHA-256 of the parcel.json that says so
  std::vector<std::string> options;  // names, ascending
};
CustomerOrder order_of(const VehicleJob& job);

// A note of it; names in any order, each once or more. `parcel`: what says so; nothing: the shop itself.
Event ordered_event(std::vector<std::string> options, std::optional<Sha256> parcel, std::uint64_t base,
                    UtcTime now);
// The note that a parcel gives cause for; nothing when it orders nothing.
std::optional<Event> ordered_by(const OpenedParcel& parcel, std::uint64_t base, UtcTime now);

// What a send says about the options of one controller.
struct OrderWish {
  std::vector<OptionFile> given;         // they are all of its options, where there are some
  std::vector<OptionFile> given_to_any;  // those of all controllers of this send
  bool no_options = false;
  std::vector<std::pair<std::string, std::string>> without;  // name, why
};

// What a revision is made of, and what it says of the order.
struct KeptOrder {
  std::vector<OptionFile> options;
  ManifestOrdered ordered;
  std::vector<OptionFile> others;  // that fit and are not among them; the image must not hold one whole
};

// Steps 1 to 3 for the next revision of a controller of this job, by the files of its base and those of the
// shop. kOrderOpen when an ordered option is neither in nor left out with a reason, or two files of it fit;
// kUsage when `without` names what was not ordered, or what was given; kJobDamaged and the errors of
// parse_option() for files that the folder should have.
Result<KeptOrder> keep_order(const VehicleJob& job, const Job& controller, const OrderWish& wish,
                             const std::vector<OptionFile>& shop);

// Controllers, of all or the one that is named, for which something ordered, or something that came with the
// base, is not in the newest revision, and can be put in without a file of the editor: that revision is the
// way back, or nothing but options.
Result<std::vector<std::string>> controllers_to_compose(const VehicleJob& job, const std::string& controller,
                                                        const OrderWish& wish,
                                                        const std::vector<OptionFile>& shop);

}  // namespace calseal
