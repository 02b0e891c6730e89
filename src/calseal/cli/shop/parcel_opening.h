// Parcels on the shop's side, closed or not: a closed one is opened with the shop's parcel key.
#pragma once

#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/reads/parcel_argument.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/parcel/parcel.h"

namespace calseal {

// The shop file stands in for it.
extern const ShopDefault kShopParcelKey;

struct ParcelOpening {
  std::string key, passphrase_file;
};
// --parcel-key; and --parcel-passphrase-file, whose key may have another passphrase than those that sign.
void add_parcel_opening(CommandLine& command, ParcelOpening& opening);

// The parcel of a closed file, as it was when it was closed. The passphrase is asked for only here.
Result<Bytes> open_closed_file(const std::string& path, const ParcelOpening& opening);
// read_parcel(), of a closed one too. kParcelClosed for a closed one without a key.
Result<OpenedParcel> read_any_parcel(const std::string& path, const ParcelOpening& opening);
// split_parcel(), with closed ones among them.
Result<SplitArguments> split_any_parcel(const std::vector<std::string>& arguments,
                                        const ParcelOpening& opening);

}  // namespace calseal
