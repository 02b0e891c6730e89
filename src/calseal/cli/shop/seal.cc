#include "calseal/sign/seal.h"

#include <algorithm>
#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/check/claims.h"
#include "calseal/check/wrapping_note.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/new_salt.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/statement_options.h"
#include "calseal/map/correct.h"
#include "calseal/map/read.h"
#include "calseal/sign/edited_image.h"

namespace calseal {
namespace {

struct SealOptions {
  std::string regions, base_bundle, parent, job, base_reason, title, notes_file, vehicle, salt, new_salt,
      trust, expires, set, passphrase_file, time, output, unaccounted, beyond_limits, payload = "areas",
                                                                                      packing = "deflated";
  std::vector<std::string> bases, images, keys, requirements, cautions, attachments, annotations, returns,
      roles, option_files, approvals;
  std::uint64_t base_number = 0, sequence = 0;
  bool correct = false, dry_run = false, account = false, as_received = false;
};

// Everything that sealing needs, loaded in an order in which each fault is found where it belongs.
class Sealing {
 public:
  Sealing(const SealOptions& options, std::string tool, const Console& console)
      : options_(options), console_(console) {
    request_.statement.tool = std::move(tool);
  }

  Result<SealedBundle> run() {
    CALSEAL_ASSIGN(LoadedTrust loaded, load_trust(options_.trust));
    trust_ = std::move(loaded.trust);
    CALSEAL_ASSIGN(request_.statement.claimed_time, stated_time(options_.time));
    CALSEAL_ASSIGN(const auto keys, begin_keys(options_.keys, options_.passphrase_file));
    CALSEAL_CHECK(options_.base_bundle.empty() ? start_job() : continue_job());
    CALSEAL_CHECK(state_rest());
    CALSEAL_CHECK(load_salt());
    const Progress progress(console_, "proving, sealing, and checking the result");
    return seal(
        request_, [&] { return keys->get(); }, trust_);
  }

  const std::optional<Bytes>& fresh_salt() const { return fresh_salt_; }

 private:
  Status load_map() {
    CALSEAL_ASSIGN(map_, load_region_map(options_.regions));
    return {};
  }

  // Revision 0: the first read of a base.
  Status start_job() {
    if (options_.regions.empty() || options_.job.empty() || options_.bases.empty()) {
      return fail(usage_error(
          "seal", "no --base-bundle, and not all of --regions, --job and --base",
          "for revision 0: --regions, --job and --base; for later ones: --base-bundle and --image",
          "see calseal seal --help"));
    }
    if (!options_.images.empty()) {
      return fail(usage_error("--image", "an edited image for revision 0", "the read alone",
                              "seal revision 0 first, then the edit on it"));
    }
    CALSEAL_CHECK(load_map());
    request_.map = &map_;
    CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(options_.bases));
    CALSEAL_ASSIGN(Read read, load_read(map_, std::move(files)));
    request_.files = describe_received(read);
    request_.base = std::move(read.image);
    request_.result = request_.base;
    request_.as_received = options_.as_received;
    RevisionStatement& said = request_.statement;
    for (auto& note : wrapping_notes(read)) said.annotations.push_back(std::move(note));
    said.job = options_.job;
    said.base_number = std::max<std::uint64_t>(options_.base_number, 1);
    if (!options_.base_reason.empty()) said.base_reason = options_.base_reason;
    said.vehicle_reference = options_.vehicle;
    if (options_.parent.empty()) return {};
    CALSEAL_ASSIGN(const OpenedBundle parent, open(options_.parent));
    said.parent = parent.digest;
    said.sequence = parent.manifest.sequence + 1;
    follow(parent);
    return {};
  }

  void follow(const OpenedBundle& before) { request_.followed = {before.map, before.manifest.approvals}; }

  Status continue_job() {
    if (!options_.bases.empty() || !options_.job.empty() || options_.base_number != 0 ||
        !options_.base_reason.empty() || options_.as_received) {
      return fail(usage_error("--base-bundle",
                              "--base, --job, --base-number, --base-reason or --as-received beside it",
                              "these come from the base bundle", "leave them out"));
    }
    CALSEAL_ASSIGN(const OpenedBundle base, open(options_.base_bundle));
    if (base.manifest.revision != 0) {
      return fail(usage_error("--base-bundle", "revision " + std::to_string(base.manifest.revision),
                              "revision 0 of the job's base",
                              "give revision 0 here and the newest revision as --parent"));
    }
    if (options_.regions.empty()) {
      map_ = base.map;
    } else {
      CALSEAL_CHECK(load_map());
    }
    request_.map = &map_;
    request_.base = base_image(base, map_);
    CALSEAL_CHECK(load_result());
    RevisionStatement& said = request_.statement;
    said.job = base.manifest.job;
    said.base_number = base.manifest.base_number;
    said.base_reason = base.manifest.base_reason;
    said.vehicle_reference = options_.vehicle.empty() ? base.manifest.vehicle_reference : options_.vehicle;
    expected_salt_ = base.manifest.salt_digest;
    said.parent = base.digest;
    said.revision = 1;
    said.sequence = base.manifest.sequence + 1;
    follow(base);
    if (options_.parent.empty()) return {};
    CALSEAL_ASSIGN(const OpenedBundle parent, open(options_.parent));
    if (parent.manifest.job != said.job || parent.manifest.base_number != said.base_number ||
        parent.manifest.controller().name != map_.controller) {
      return fail(usage_error(
          "--parent",
          "job " + parent.manifest.job + ", base " + std::to_string(parent.manifest.base_number) + ", " +
              parent.manifest.controller().name,
          "job " + said.job + ", base " + std::to_string(said.base_number) + ", " + map_.controller,
          "give a revision of the same job, base and controller"));
    }
    said.parent = parent.digest;
    said.revision = parent.manifest.revision + 1;
    said.sequence = parent.manifest.sequence + 1;
    follow(parent);
    return {};
  }

  Result<OpenedBundle> open(const std::string& path) const {
    CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
    std::vector<Step> steps = all_steps();
    OpenContext context;
    context.trust = &trust_;
    context.now = request_.statement.claimed_time;
    return open_sealed(std::move(bytes), printable(path), context, steps);
  }

  Status load_result() {
    if (options_.images.empty()) {
      return fail(
          usage_error("--image", "no edited image", "the edited image", "give it as --image [MEMORY=]FILE"));
    }
    CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(options_.images));
    CALSEAL_ASSIGN(request_.result, lay_edit(map_, request_.base, std::move(files)));
    if (!options_.correct) return {};
    CALSEAL_ASSIGN(const Plan plan, make_plan(map_, request_.result));
    CALSEAL_CHECK(correct(plan, request_.result));
    return {};
  }

  Status state_rest() {
    RevisionStatement& said = request_.statement;
    if (options_.sequence != 0) said.sequence = options_.sequence;
    said.title = options_.title;
    said.requirements = options_.requirements;
    said.cautions = options_.cautions;
    said.expires = options_.expires;
    request_.payload = options_.payload == "full" ? PayloadKind::kFull : PayloadKind::kAreas;
    request_.packing = options_.packing == "stored" ? Packing::kStored : Packing::kSmallest;
    if (!options_.roles.empty()) said.required_roles = options_.roles;
    if (!options_.notes_file.empty()) {
      CALSEAL_ASSIGN(said.notes, read_text_file(options_.notes_file, 65536));
    }
    for (const std::string& text : options_.returns) {
      const auto digest = parse_digest(text);
      if (!digest) {
        return fail(usage_error("--permit-return", "\"" + printable(text, 80) + "\"",
                                "an identity: 64 lower-case hexadecimal digits",
                                "copy it from calseal show"));
      }
      said.permitted_returns.push_back(*digest);
    }
    CALSEAL_ASSIGN(said.approvals, load_approvals(options_.approvals));
    for (const std::string& text : options_.annotations) {
      const std::size_t equals = text.find('=');
      if (equals == std::string::npos) {
        return fail(usage_error("--annotate", "\"" + printable(text, 80) + "\"", "NAME=TEXT",
                                "write the name before an equals sign"));
      }
      said.annotations.emplace_back(text.substr(0, equals), text.substr(equals + 1));
    }
    for (const std::string& path : options_.attachments) {
      CALSEAL_ASSIGN(Bytes content, read_file(path, kEntrySizeLimit));
      const std::string file = path.substr(path.rfind('/') + 1);
      said.attachments.push_back({file, file, std::move(content)});
    }
    CALSEAL_ASSIGN(request_.options, load_options(options_.option_files));
    request_.account = options_.account;
    request_.unaccounted_reason = options_.unaccounted;
    request_.limits_reason = options_.beyond_limits;
    if (!options_.set.empty()) {
      CALSEAL_ASSIGN(const Bytes bytes, read_file(options_.set, kSetSizeLimit));
      CALSEAL_ASSIGN(said.set, parse_set(bytes, printable(options_.set)));
    }
    return {};
  }

  Status load_salt() {
    if (!options_.new_salt.empty()) {
      CALSEAL_ASSIGN(fresh_salt_, make_salt());
      request_.salt = fresh_salt_;  // written together with the bundle, or not at all
    } else if (!options_.salt.empty()) {
      CALSEAL_ASSIGN(const Bytes text, read_file(options_.salt, 4096));
      CALSEAL_ASSIGN(request_.salt, parse_salt(text, printable(options_.salt)));
    }
    if (!expected_salt_) return {};
    if (!request_.salt || compute_sha256(*request_.salt) != *expected_salt_) {
      return fail({Reason::kSaltWrong, printable(options_.salt), "",
                   request_.salt ? "another salt" : "no salt", "the salt of this job, as in its base bundle",
                   "give the job's salt file as --salt"});
    }
    return {};
  }

  const SealOptions& options_;
  const Console& console_;
  SealRequest request_;
  RegionMap map_;
  TrustFile trust_;
  std::optional<Sha256> expected_salt_;
  std::optional<Bytes> fresh_salt_;
};

std::string summary(const SealedBundle& sealed, const std::string& output) {
  const Manifest& manifest = sealed.manifest;
  const ManifestController& controller = manifest.controller();
  std::string text = "sealed    " + output + "  (" + grouped(sealed.file.size()) + " bytes)\n";
  text += "revision  " + std::to_string(manifest.revision) + " of job " + manifest.job + ", " +
          controller.name + ", base " + std::to_string(manifest.base_number) + ", sequence " +
          std::to_string(manifest.sequence) + "\n";
  text += "proved    " + grouped(sealed.proof.changed_bytes()) + " bytes changed in " +
          grouped(coalesce(sealed.proof.changes).size()) +
          " places, all within the areas declared by region map " + controller.map_name + " (" +
          controller.map_grade + "); " + std::to_string(controller.checksums.size()) +
          " checksums and copies judged\n";
  text += "identity  " + digest_text(sealed.digest) + "\n";
  for (const std::string& caution : manifest.cautions) text += "caution   " + printable(caution) + "\n";
  if (sealed.incomplete)
    text += "INCOMPLETE  required signatures are missing; nobody accepts this bundle before they are added\n";
  return text;
}

JsonValue summary_json(const SealedBundle& sealed, const std::string& output) {
  const Manifest& manifest = sealed.manifest;
  return json_object({{"calseal", json("seal/1")},
                      {"output", json(output)},
                      {"identity", json(digest_text(sealed.digest))},
                      {"job", json(manifest.job)},
                      {"controller", json(manifest.controller().name)},
                      {"base", json(manifest.base_number)},
                      {"revision", json(manifest.revision)},
                      {"sequence", json(manifest.sequence)},
                      {"map_digest", json(digest_text(manifest.controller().map_digest))},
                      {"pinned", json(digest_text(manifest.controller().pinned_after))},
                      {"size", json(sealed.file.size())},
                      {"changed_bytes", json(sealed.proof.changed_bytes())},
                      {"incomplete", json(sealed.incomplete)}});
}

int run_seal(const SealOptions& options, const std::string& tool, const Console& console) {
  if (options.output.empty() && !options.dry_run) {
    return console.fail(
        usage_error("--output", "no output", "--output FILE, or --dry-run", "give the bundle a name"));
  }
  std::vector<std::string> inputs = {options.regions,    options.base_bundle,    options.parent,
                                     options.salt,       options.trust,          options.set,
                                     options.notes_file, options.passphrase_file};
  for (const auto* list : {&options.bases, &options.images}) {
    for (std::string& path : paths_of(*list)) inputs.push_back(std::move(path));
  }
  for (const auto* list : {&options.keys, &options.attachments, &options.option_files, &options.approvals})
    inputs.insert(inputs.end(), list->begin(), list->end());
  std::vector<std::string> outputs;
  for (const std::string& output : {options.output, options.new_salt}) {
    if (!output.empty()) outputs.push_back(output);
  }
  if (Status status = refuse_clashes(outputs, inputs); !status) return console.fail(status.error());
  Sealing sealing(options, tool, console);
  const Result<SealedBundle> sealed = sealing.run();
  if (!sealed) return console.fail(sealed.error());
  if (!options.dry_run) {
    const std::string salt = sealing.fresh_salt() ? to_hex(*sealing.fresh_salt()) + "\n" : "";
    std::vector<PendingFile> files{{options.output, sealed->file}};
    if (!salt.empty())
      files.push_back({options.new_salt, view_of(salt), FileMode::kPrivate, Existing::kRefuse});
    if (Status status = write_files(files); !status) return console.fail(status.error());
  }
  const std::string name = options.dry_run ? "nothing: this was a dry run" : printable(options.output);
  console.print(summary(*sealed, name));
  console.print_json(
      summary_json(*sealed, options.dry_run ? "" : printable(options.output, kShownPathLimit)));
  return 0;
}

}  // namespace

void add_seal_command(CommandLine& app, Console& console, const std::string& tool, int& status) {
  CommandLine* command =
      app.add_subcommand("seal", "Prove a revision, sign it, and check the result before it is written");
  auto o = std::make_shared<SealOptions>();
  command->add_option("--regions", o->regions,
                      "Region map; for later revisions the base bundle's own is the default");
  command->add_option("--job", o->job, "Revision 0: name of the job");
  command->add_option("--base", o->bases, "[MEMORY=]FILE: revision 0: the read as received");
  command
      ->add_option("--base-number", o->base_number, "Revision 0: number of the base in this job (default 1)")
      ->in_range(1, 1000000);
  command->add_option("--base-reason", o->base_reason,
                      "Revision 0: why this base exists (default: first read)");
  command->add_flag("--as-received", o->as_received,
                    "Revision 0: keep the read as evidence and way back although its checks fail");
  command->add_option("--base-bundle", o->base_bundle,
                      "Later revisions: revision 0 of the job's current base");
  command->add_option("--parent", o->parent, "The revision that this one follows (default: the base bundle)");
  command->add_option("--image", o->images, "[MEMORY=]FILE: later revisions: the edited image");
  command->add_flag("--correct", o->correct, "Correct checksums and copies of the edited image first");
  command->add_option("--sequence", o->sequence, "Sequence number (default: the parent's plus one)")
      ->in_range(1, 1099511627776);
  command->add_option("--vehicle", o->vehicle,
                      "The word by which you and the customer call this vehicle; not a VIN");
  auto* salt = command->add_option("--salt", o->salt, "The job's salt file");
  command
      ->add_option("--new-salt", o->new_salt,
                   "Make the job's salt file, with revision 0; the customer needs a copy")
      ->excludes(salt);
  command->add_option("--title", o->title, "One line for people");
  command->add_option("--notes-file", o->notes_file, "Text file with notes");
  command->add_option("--requirement", o->requirements,
                      "A line: what must be true of the vehicle (repeatable)");
  command->add_option("--caution", o->cautions, "A line: what the customer must mind (repeatable)");
  command
      ->add_option("--option", o->option_files,
                   "An option file: it must be whole in the image, and every changed byte must belong to an "
                   "option or a derived place (repeatable)")
      ->one_each();
  command->add_flag("--account", o->account, "Demand the same account although no option is given");
  command->add_option("--unaccounted", o->unaccounted,
                      "The reason why other bytes changed; goes into the manifest");
  command->add_option("--beyond-limits", o->beyond_limits,
                      "The reason why a changed item leaves its limits; goes into the manifest");
  command->add_option("--attach", o->attachments, "File to put into the bundle (repeatable)");
  command->add_option("--annotate", o->annotations, "NAME=TEXT: shown, never deciding (repeatable)");
  command->add_option("--permit-return", o->returns,
                      "Identity of an earlier revision that may be written again (repeatable)");
  add_approval_option(*command, o->approvals);
  command->add_option("--require-role", o->roles, "Roles that must sign (default: author)")
      ->one_of({"author", "reviewer"});
  command->add_option("--expires", o->expires, "Makes it a trial until this time (UTC)");
  command->add_option("--payload", o->payload, "areas (default) or full")->one_of({"areas", "full"});
  command
      ->add_option("--packing", o->packing,
                   "deflated (default, where that is shorter) or stored, which is quicker")
      ->one_of({"deflated", "stored"});
  command->add_option("--set", o->set, "Set descriptor (set.json) that this revision is a member of");
  command->add_option("--key", o->keys, "Private key that signs (repeatable)")->required();
  command->add_option("--passphrase-file", o->passphrase_file, "First line: passphrase of the keys");
  command->add_option("--trust", o->trust, "The shop's trust file, for the check at the end")->required();
  command->add_option("--claimed-time", o->time,
                      "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)");
  command->add_option("-o,--output", o->output, "The bundle to write");
  command->add_flag("--dry-run", o->dry_run, "Do everything but write");
  set_command(
      *command, console,
      {"calseal seal --job oak-17 --regions engine.json --base flash=f.bin --base eeprom=e.bin --vehicle "
       "\"blue estate\" "
       "--new-salt oak-17.salt --key author.key --trust shop.trust -o r0.calseal",
       "calseal seal --base-bundle r0.calseal --image flash=edited.bin --correct --salt oak-17.salt --title "
       "\"first tune\" "
       "--key author.key --trust shop.trust -o r1.calseal",
       "calseal seal --base-bundle r0.calseal --parent r1.calseal --image flash=edited2.bin --correct --salt "
       "oak-17.salt "
       "--key author.key --trust shop.trust -o r2.calseal"},
      [o, tool](Console& c) { return run_seal(*o, tool, c); }, status);
}

}  // namespace calseal
