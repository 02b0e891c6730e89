// A parcel among the files that a person gives, told by its content: its reads go the way of loose ones.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/map/read.h"
#include "calseal/parcel/parcel.h"

namespace calseal {

struct SplitArguments {
  std::optional<OpenedParcel> parcel;
  std::vector<std::string> files;  // what else was given, as it was typed
};

bool is_closed_parcel_file(const std::string& path);

using ParcelReader = std::function<Result<OpenedParcel>(const std::string& path)>;
// `read` is asked for the parcel, which may be closed. kUsage for two parcels. What cannot be read is left
// among the files, for whoever reads those to say.
Result<SplitArguments> split_parcel(const std::vector<std::string>& arguments, const ParcelReader& read);

// A read of a parcel, as a file would be; its name shows where it comes from.
struct NamedParcelRead {
  std::string controller;  // empty: nobody said
  ReadFile file;
};
// Those of one series, in their order.
Result<std::vector<NamedParcelRead>> reads_of_series(const OpenedParcel& parcel, std::uint64_t series);

}  // namespace calseal
