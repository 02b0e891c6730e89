#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/parcel_root.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/study/receive_reads.h"
#include "calseal/cli/study/study_commands.h"

namespace calseal {

void add_receive_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand(
      "receive", "Judge an incoming read: which controller, whole or damaged, stock or not");
  auto options = std::make_shared<ReceiveOptions>();
  command
      ->add_option("FILES", options->reads,
                   "The read, one file or one for each memory; or the parcel that it came in")
      ->takes("[MEMORY=]FILE")
      ->required();
  command
      ->add_option("--regions", options->regions,
                   "Folder of region maps to choose from, or one region map (repeatable; default: this "
                   "folder)")
      ->takes("FILE|FOLDER")
      ->one_each();
  command
      ->add_option("--known", options->known,
                   "Folder of known stocks: a file each, or a folder each with a file per memory")
      ->takes("FOLDER");
  command
      ->add_option("--again", options->again,
                   "A further read of the same controller, as many files as the first")
      ->takes("[MEMORY=]FILE");
  command
      ->add_option("--controller", options->controller,
                   "Which controller, where a parcel has reads of several")
      ->takes("NAME");
  command
      ->add_option("-o,--output", options->outputs,
                   "Where to write the read that three or more reads vote for")
      ->takes("FILE");
  add_parcel_opening(*command, options->opening);
  add_parcel_trust(*command, options->trust);
  add_parcel_successions(*command, options->successions);
  add_shop_option(*command, {kShopRegions, kShopStocks, kShopParcelKey, kParcelTrust});
  set_command(
      *command, console,
      {"calseal receive flash=flash.bin eeprom=eeprom.bin --regions maps --known stocks",
       "calseal receive read.hex --regions engine.json", "calseal receive to-shop.parcel --regions maps",
       "calseal receive read1.bin --again read2.bin --again read3.bin --regions maps -o voted.bin"},
      [options](Console& c) { return receive_as_told(*options, c); }, status);
}

}  // namespace calseal
