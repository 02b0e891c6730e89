#include <CLI/CLI.hpp>

#include "calseal/base/interrupt.h"
#include "calseal/cli/check/check_command.h"

int main(int argc, char** argv) {
  calseal::install_interrupt_handler();
  calseal::Console console;
  int status = 0;
  CLI::App app("Judge a sealed bundle against the controller's own read, and rebuild the image.",
               "calseal-check");
  app.set_version_flag("--version", "calseal-check " CALSEAL_VERSION);
  calseal::add_check_command(app, console, "calseal-check", status);
  return calseal::run_program(app, console, argc, argv, status);
}
