#include "calseal/cli/shop/seal_as_told.h"

#include <algorithm>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/new_salt.h"
#include "calseal/cli/shop/seal_words.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/map/read.h"
#include "calseal/sign/next_revision.h"

namespace calseal {
namespace {

// Loads everything in an order in which each fault is found where it belongs.
class Sealing {
 public:
  Sealing(const SealOptions& options, const std::string& tool, const Console& console)
      : options_(options), console_(console) {
    signing_.tool = tool;
  }

  Result<Sealed> run() {
    CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options_.trust));
    signing_.trust = &loaded.trust;
    CALSEAL_ASSIGN(signing_.now, stated_time(options_.time));
    CALSEAL_ASSIGN(signing_.approvals, load_approvals(options_.approvals));
    CALSEAL_CHECK(load_salt());
    CALSEAL_ASSIGN(SealRequest request, options_.base_bundle.empty() ? start_base() : continue_base());
    request.salt = salt_;
    CALSEAL_CHECK(state_words(options_, request));
    KeysOnDemand keys(options_.keys, options_.passphrase_file);
    Progress progress(console_, "proving, sealing, and checking the result");
    const KeySource asked = [&] {
      progress.end();  // a passphrase may be asked for
      return keys.open();
    };
    CALSEAL_ASSIGN(SealedBundle bundle, seal(request, asked, loaded.trust));
    return Sealed{std::move(bundle), salt_};
  }

 private:
  // Revision 0: the first read of a base.
  Result<SealRequest> start_base() {
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
    CALSEAL_ASSIGN(map_, load_region_map(options_.regions));
    CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(options_.bases));
    CALSEAL_ASSIGN(const Read read, load_read(map_, std::move(files)));
    BaseStatement said;
    said.job = options_.job;
    said.number = std::max<std::uint64_t>(options_.base_number, 1);
    if (!options_.base_reason.empty()) said.reason = options_.base_reason;
    said.vehicle_reference = options_.vehicle;
    said.as_received = options_.as_received;
    RevisionPlace place;
    if (!options_.parent.empty()) {
      CALSEAL_ASSIGN(const OpenedBundle parent, open_issued_file(options_.parent, signing_));
      place = place_behind(parent, 0);
    }
    return request_for_base(map_, read, said, std::move(place), signing_);
  }

  Result<SealRequest> continue_base() {
    if (!options_.bases.empty() || !options_.job.empty() || options_.base_number != 0 ||
        !options_.base_reason.empty() || options_.as_received) {
      return fail(usage_error("--base-bundle",
                              "--base, --job, --base-number, --base-reason or --as-received beside it",
                              "these come from the base bundle", "leave them out"));
    }
    if (options_.images.empty()) {
      return fail(
          usage_error("--image", "no edited image", "the edited image", "give it as --image [MEMORY=]FILE"));
    }
    CALSEAL_ASSIGN(const OpenedBundle base, open_issued_file(options_.base_bundle, signing_));
    CALSEAL_CHECK(require_salt_of(base.manifest, salt_, printable(options_.salt),
                                  "give the job's salt file as --salt"));
    map_ = base.map;
    if (!options_.regions.empty()) {
      CALSEAL_ASSIGN(map_, load_region_map(options_.regions));
    }
    std::optional<OpenedBundle> parent;
    if (!options_.parent.empty()) {
      CALSEAL_ASSIGN(parent, open_issued_file(options_.parent, signing_));
    }
    CALSEAL_ASSIGN(RevisionPlace place, place_on(base, parent ? &*parent : nullptr, map_));
    SealRequest request = request_on(base, map_, std::move(place), signing_);
    if (!options_.vehicle.empty()) request.statement.vehicle_reference = options_.vehicle;
    CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(options_.images));
    CALSEAL_CHECK(lay_result(request, std::move(files)));
    if (options_.correct) {
      CALSEAL_CHECK(correct_result(request));
    }
    return request;
  }

  Status load_salt() {
    if (!options_.new_salt.empty()) {
      CALSEAL_ASSIGN(salt_, make_salt());  // written together with the bundle, or not at all
    } else if (!options_.salt.empty()) {
      CALSEAL_ASSIGN(const Bytes text, read_file(options_.salt, 4096));
      CALSEAL_ASSIGN(salt_, parse_salt(text, printable(options_.salt)));
    }
    return {};
  }

  const SealOptions& options_;
  const Console& console_;
  Signing signing_;
  RegionMap map_;
  std::optional<Bytes> salt_;
};

}  // namespace

Result<Sealed> seal_as_told(const SealOptions& options, const std::string& tool, const Console& console) {
  return Sealing(options, tool, console).run();
}

}  // namespace calseal
