// Whether a parcel is for this shop: check 8 of docs/parcel.md.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/parcel/parcel.h"
#include "calseal/trust/succession.h"

namespace calseal {

// The shop file stands in for --trust, where the command needs it for nothing else.
extern const ShopDefault kParcelTrust;

// --trust, for a command that has none of its own.
void add_parcel_trust(CommandLine& command, std::string& trust);
// --succession
void add_parcel_successions(CommandLine& command, std::vector<std::string>& successions);

// The trust file's root and all that it succeeded, as far as these steps show.
Result<TrustChain> load_parcel_chain(const std::string& trust, const std::vector<std::string>& successions);

// kParcelOther for a parcel that names another root.
Status judge_parcel_root(const OpenedParcel& parcel, const TrustChain& chain);
// Nothing is judged without a parcel, or without a trust file.
Status judge_parcel_root(const std::optional<OpenedParcel>& parcel, const std::string& trust,
                         const std::vector<std::string>& successions);

}  // namespace calseal
