
#include <string_view>

#include "calseal/base/interrupt.h"
#include "calseal/cli/check/check_command.h"
#include "calseal/cli/check/parcel_command.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/reader.h"

namespace {

bool names_parcel(int argc, char** argv) {
  for (int i = 1; i < argc; ++i) {
    const std::string_view word = argv[i];
    if (word != "--ascii" && word != "--json") return word == "parcel";
  }
  return false;
}

}  // namespace

int main(int argc, char** argv) {
  calseal::install_interrupt_handler();
  calseal::speak_to(calseal::Reader::kCustomer);
  calseal::Console console;
  int status = 0;
  calseal::CommandLine app("Judge a sealed bundle against the controller's own read, and rebuild the image.",
                           "calseal-check", CALSEAL_VERSION);
  calseal::add_check_command(app, console, "calseal-check", status);
  // A command of its own within one that requires a bundle: the word would be taken for the bundle's name.
  if (names_parcel(argc, argv)) app.require_nothing();
  calseal::add_parcel_command(app, console, "calseal-check " CALSEAL_VERSION, status);
  return calseal::run_program(app, console, argc, argv, status);
}
