// A parcel as it is asked for on the command line: every file that was named, loaded once.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/cli/console/console.h"
#include "calseal/parcel/make_parcel.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

struct ParcelOptions {
  std::string customer, new_customer, sheet, trust, root, job, vehicle, words, time, output;
  std::vector<std::string> reads, logs, order, answers;
  bool accept_cautions = false;
};

struct LoadedParcel {
  ParcelRequest request;  // its sheet is the one below
  std::optional<TrustFile> trust;
  std::optional<Sheet> sheet;
  CustomerFile customer;
};

// Cautions that must be accepted, and were not, are told on the console before the error says so.
Result<std::unique_ptr<LoadedParcel>> load_parcel_request(const ParcelOptions& options,
                                                          const std::string& tool, const Console& console);

// The files that were named, the customer file apart: no output may be one of them.
std::vector<std::string> parcel_inputs(const ParcelOptions& options);

}  // namespace calseal
