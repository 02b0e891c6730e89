// A parcel made from files, orders and words, and signed with the customer's key.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/parcel/customer_file.h"
#include "calseal/parcel/order.h"
#include "calseal/parcel/parcel.h"

namespace calseal {

// A file that goes in as a read.
struct GivenRead {
  std::string controller, memory;  // names, or empty
  std::string path;                // as given: only its last part goes in
  Bytes bytes;
};

struct GivenLog {
  std::optional<Sha256> revision;
  std::string path;
  Bytes bytes;
};

struct ParcelRequest {
  std::string claimed_time;
  std::optional<KeyId> root;     // of the shop that it is for
  const Sheet* sheet = nullptr;  // nullptr: without one there is no order
  Order order;
  std::string job, vehicle_reference, words;
  // Of one memory in the order in which they were read: the second is series 2, and so on. Where no memory is
  // named, each is a first read.
  std::vector<GivenRead> reads;
  std::vector<GivenLog> logs;
  std::string tool;
};

struct MadeParcel {
  Bytes file;
  Parcel parcel;
  CustomerFile customer;  // with the number of this parcel
};

// What was seen in the reads is in parcel.findings; nothing is refused for it. kUsage and the reasons of
// judge_order() for an order, kFileTooLarge for contents above the limits, kParcelInvalid for what a parcel
// cannot hold or for an empty one. The file is read back by open_parcel() before it is returned.
Result<MadeParcel> make_parcel(const ParcelRequest& request, const CustomerFile& customer);

}  // namespace calseal
