#include "calseal/cli/job/send_options.h"

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {

namespace {

void add_option_choices(CommandLine& command, SendOptions& options) {
  command
      .add_option(
          "--option", options.option_files,
          "Option file; it is put in where the edit does not hold it yet (repeatable; default, for each "
          "controller without one: those of its newest revision, and what was ordered)")
      ->takes("FILE");
  command.add_flag("--no-options", options.no_options, "This revision is made of no option");
  command.add_option("--without", options.without, "An option that was ordered and is left out (repeatable)")
      ->takes("NAME=WHY")
      ->one_each();
  command
      .add_option("--option-folder", options.option_folder,
                  "Folder of option files, where what was ordered is looked for")
      ->takes("FOLDER");
  command.add_option("--fuel", options.fuel,
                     "Fuel of the vehicle, where an option asks for one (repeatable)");
  command.add_option("--hardware", options.hardware,
                     "Hardware of the vehicle, where an option asks for some (repeatable)");
}

}  // namespace

void add_send_options(CommandLine& command, SendOptions& options) {
  add_job_folder(command, options);
  command.add_option("EDITED", options.edited, "Edited images, of one controller or of several")
      ->takes("[[CONTROLLER.]MEMORY=]FILE");
  add_option_choices(command, options);
  command
      .add_option(
          "--set", options.set,
          "renew: seal the other members of the set again along with this one; leave: this revision is "
          "valid alone")
      ->one_of({"renew", "leave"});
  command
      .add_option("--write-order", options.write_order,
                  "Controllers of a set in the order of writing, between commas (default: by name)")
      ->separated_by(',')
      ->takes("NAMES");
  command.add_flag("--drivable-between", options.drivable_between,
                   "The vehicle may be driven when only some of a set are written");
  command.add_option("--title", options.title, "One line for people");
  command.add_option("--notes-file", options.notes_file, "Text file with notes")->takes("FILE");
  command.add_option("--requirement", options.requirements,
                     "A line: what must be true of the vehicle (repeatable)");
  command.add_option("--caution", options.cautions, "A line: what the customer must mind (repeatable)");
  command.add_option("--attach", options.attachments, "File to put into the bundle (repeatable)")
      ->takes("FILE");
  command.add_option("--expires", options.expires, "Makes it a trial until this time (UTC)")->takes("TIME");
  command
      .add_option(
          "--permit-return", options.returns,
          "An earlier revision that may be written again (repeatable); its controller is needed where "
          "several are sent")
      ->takes("[CONTROLLER=]NUMBER|IDENTITY");
  command.add_option("--require-role", options.roles, "Roles that must sign (default: author)")
      ->one_of({"author", "reviewer"});
  command
      .add_option("--parent", options.parents,
                  "The revision that this one follows (default: the newest; once for each controller, which "
                  "is needed where several are sent)")
      ->takes("[CONTROLLER=]NUMBER")
      ->one_each();
  command.add_option("--unaccounted", options.unaccounted,
                     "Why changed bytes that no option explains are right; goes into the manifest");
  command.add_option("--beyond-limits", options.limits,
                     "Why values outside their limits are right; goes into the manifest");
  command.add_flag("--unchanged", options.unchanged,
                   "Seal the image although it is that of the base or of the newest revision");
  command.add_flag("--as-received", options.as_received,
                   "Without EDITED: seal the way back although checks of the read fail");
}

Result<std::vector<std::pair<std::string, std::string>>> left_out(const SendOptions& options) {
  std::vector<std::pair<std::string, std::string>> left_out;
  for (const std::string& word : options.without) {
    const std::size_t sign = word.find('=');
    if (sign == std::string::npos || sign == 0 || sign + 1 == word.size())
      return fail(usage_error("--without", printable(word, 80), "NAME=WHY", "say why, in a few words"));
    if (!is_line(word.substr(sign + 1)))
      return fail(
          usage_error("--without", printable(word, 80), "one line of at most 200 bytes", "shorten it"));
    left_out.emplace_back(word.substr(0, sign), word.substr(sign + 1));
  }
  return left_out;
}

}  // namespace calseal
