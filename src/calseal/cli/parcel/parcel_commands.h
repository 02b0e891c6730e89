// The parcel on the shop's side: looked at, and unpacked. It comes into a job by `job new` and `job add`.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/parcel_opening.h"
#include "calseal/parcel/parcel.h"
#include "calseal/trust/sheet.h"

namespace calseal {

void add_parcel_commands(CommandLine& app, Console& console, int& status);  // parcel, with those that follow
void add_parcel_show_command(CommandLine& parcel, Console& console, int& status);
void add_parcel_unpack_command(CommandLine& parcel, Console& console, int& status);
void add_parcel_open_command(CommandLine& parcel, Console& console, int& status);

// A parcel, and what it is held against.
struct ParcelLookOptions {
  std::string parcel, trust, sheet;
  std::vector<std::string> successions;
  ParcelOpening opening;
};
void add_parcel_look(CommandLine& command, ParcelLookOptions& options);

struct ParcelLook {
  OpenedParcel opened;
  std::optional<Sheet> sheet;
  bool is_of_another_sheet = false;
};
// Checks 1 to 9: those of the shop where trust file and sheet are given.
Result<ParcelLook> look_at_parcel(const ParcelLookOptions& options);

}  // namespace calseal
