
#include "calseal/base/interrupt.h"
#include "calseal/cli/check/check_command.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/reader.h"

int main(int argc, char** argv) {
  calseal::install_interrupt_handler();
  calseal::speak_to(calseal::Reader::kCustomer);
  calseal::Console console;
  int status = 0;
  calseal::CommandLine app("Judge a sealed bundle against the controller's own read, and rebuild the image.",
                           "calseal-check", CALSEAL_VERSION);
  calseal::add_check_command(app, console, "calseal-check", status);
  return calseal::run_program(app, console, argc, argv, status);
}
