#include "calseal/cli/shop/seal_options.h"

#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/statement_options.h"

namespace calseal {
namespace {

// Of which job, on what, behind what, and for whose vehicle.
void add_place_options(CommandLine& command, SealOptions& o) {
  command
      .add_option("--regions", o.regions,
                  "Region map; for later revisions the base bundle's own is the default")
      ->takes("FILE");
  command.add_option("--job", o.job, "Revision 0: name of the job")->takes("NAME");
  command.add_option("--base", o.bases, "Revision 0: the read as received")->takes("[MEMORY=]FILE");
  command
      .add_option("--base-number", o.base_number, "Revision 0: number of the base in this job (default 1)")
      ->in_range(1, 1000000);
  command.add_option("--base-reason", o.base_reason,
                     "Revision 0: why this base exists (default: first read)");
  command.add_flag("--as-received", o.as_received,
                   "Revision 0: keep the read as evidence and way back although its checks fail");
  command.add_option("--base-bundle", o.base_bundle, "Later revisions: revision 0 of the job's current base")
      ->takes("FILE");
  command.add_option("--parent", o.parent, "The revision that this one follows (default: the base bundle)")
      ->takes("FILE");
  command.add_option("--image", o.images, "Later revisions: the edited image")->takes("[MEMORY=]FILE");
  command.add_flag("--correct", o.correct, "Correct checksums and copies of the edited image first");
  command.add_option("--sequence", o.sequence, "Sequence number (default: the parent's plus one)")
      ->in_range(1, 1099511627776);
  command.add_option("--vehicle", o.vehicle,
                     "The word by which you and the customer call this vehicle; not a VIN");
  auto* salt = command.add_option("--salt", o.salt, "The job's salt file")->takes("FILE");
  command
      .add_option("--new-salt", o.new_salt,
                  "Make the job's salt file, with revision 0; the customer needs a copy")
      ->takes("FILE")
      ->excludes(salt);
}

// What a person says of it; all but the reasons is only carried along.
void add_word_options(CommandLine& command, SealOptions& o) {
  command.add_option("--title", o.title, "One line for people");
  command.add_option("--notes-file", o.notes_file, "Text file with notes")->takes("FILE");
  command.add_option("--requirement", o.requirements,
                     "A line: what must be true of the vehicle (repeatable)");
  command.add_option("--caution", o.cautions, "A line: what the customer must mind (repeatable)");
  command
      .add_option("--option", o.option_files,
                  "An option file: it must be whole in the image, and every changed byte must belong to an "
                  "option or a derived place (repeatable)")
      ->takes("FILE")
      ->one_each();
  command.add_flag("--account", o.account, "Demand the same account although no option is given");
  command.add_option("--unaccounted", o.unaccounted,
                     "The reason why other bytes changed; goes into the manifest");
  command.add_option("--beyond-limits", o.beyond_limits,
                     "The reason why a changed item leaves its limits; goes into the manifest");
  command.add_option("--attach", o.attachments, "File to put into the bundle (repeatable)")->takes("FILE");
  command.add_option("--annotate", o.annotations, "Shown, never deciding (repeatable)")->takes("NAME=TEXT");
  command
      .add_option("--permit-return", o.returns,
                  "Identity of an earlier revision that may be written again (repeatable)")
      ->takes("DIGEST");
  add_approval_option(command, o.approvals);
  command.add_option("--require-role", o.roles, "Roles that must sign (default: author)")
      ->one_of({"author", "reviewer"});
  command.add_option("--expires", o.expires, "Makes it a trial until this time (UTC)")->takes("TIME");
}

void add_signing_options(CommandLine& command, SealOptions& o) {
  command.add_option("--payload", o.payload, "areas (default) or full")->one_of({"areas", "full"});
  command
      .add_option("--packing", o.packing,
                  "deflated (default, where that is shorter) or stored, which is quicker")
      ->one_of({"deflated", "stored"});
  command.add_option("--set", o.set, "Set descriptor (set.json) that this revision is a member of")
      ->takes("FILE");
  command.add_option("--key", o.keys, "Private key that signs (repeatable)")->takes("FILE")->required();
  command.add_option("--passphrase-file", o.passphrase_file, "First line: passphrase of the keys")
      ->takes("FILE");
  command.add_option("--trust", o.trust, "The shop's trust file, for the check at the end")
      ->takes("FILE")
      ->required();
  command
      .add_option("--claimed-time", o.time, "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  command.add_option("-o,--output", o.output, "The bundle to write")->takes("FILE");
  command.add_flag("--dry-run", o.dry_run, "Do everything but write");
}

}  // namespace

void add_seal_options(CommandLine& command, SealOptions& options) {
  add_place_options(command, options);
  add_word_options(command, options);
  add_signing_options(command, options);
  add_shop_option(command, {kAuthorKeys, kShopTrust});
}

}  // namespace calseal
