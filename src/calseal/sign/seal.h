// Sealing: a revision proved, described, signed, and then checked by the checker itself before anyone sees
// it.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/set_descriptor.h"
#include "calseal/change/confine.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"
#include "calseal/option/option_file.h"
#include "calseal/sign/bundle_write.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

struct Attachment {
  std::string file;   // name inside the bundle, after "attachments/"
  std::string title;  // line
  Bytes content;
};

// What the tuner says about a revision. Everything else is computed from the bytes.
struct RevisionStatement {
  std::string job;
  std::uint64_t base_number = 1;
  std::string base_reason = "first read";
  std::uint64_t revision = 0;
  std::uint64_t sequence = 1;
  std::optional<Sha256> parent;
  std::optional<SetDescriptor> set;  // the same bytes go into every member
  std::string expires;               // time; a trial when not empty
  std::vector<std::string> required_roles = {"author"};
  std::string title, notes;
  std::string vehicle_reference;
  std::vector<Sha256> permitted_returns;
  std::vector<NamedBytes> approvals;  // new ones; those of the revision that is followed are kept
  std::vector<ManifestOption> options;
  ManifestOrdered ordered;
  std::vector<std::string> requirements, cautions;
  std::vector<Attachment> attachments;
  std::vector<std::pair<std::string, std::string>> annotations;
  std::string tool;
  UtcTime claimed_time;
};

// What customers who are up to date know of the rules: the newest revision before this one.
struct FollowedRules {
  std::optional<RegionMap> map;        // nothing: not at hand, or the same
  std::vector<std::string> approvals;  // of its manifest
};

struct SealRequest {
  const RegionMap* map = nullptr;
  RevisionStatement statement;
  Image base;                                 // of the job's current base, as received
  Image result;                               // equal to `base` for revision 0
  std::vector<ManifestFile> files;            // revision 0: the files as received
  std::optional<Bytes> salt;                  // the job's; without it no vehicle is proved later
  PayloadKind payload = PayloadKind::kAreas;  // revision 0 is always full
  Packing packing = Packing::kSmallest;       // of payload, changes and attachments
  std::vector<OptionFile> options;            // declared; then every changed byte must be accounted for
  bool account = false;                       // the same without any option
  std::string unaccounted_reason;             // why other bytes may have changed; goes into the manifest
  std::string limits_reason;                  // why a changed item may leave its limits; likewise
  FollowedRules followed;                     // nothing: the first revision of a job
  bool as_received = false;  // revision 0: its checks need not hold; the manifest says which do not
};

struct SealedBundle {
  Bytes file;
  Manifest manifest;
  Sha256 digest;  // of the manifest
  Confinement proof;
  bool incomplete = false;  // required roles are still missing; nobody will accept it before they have signed
};

// In this order: the map holds on the base (kMapNotBelieved and the reasons of recognise_family(); its checks
// apart for revision 0 as received); the result is confined (first violation); options and items are
// accounted for (require_accounted()); the manifest is built, with its approvals (state_approvals()); `keys`
// gives from 1 to kSignatureLimit different keys (its own errors, kUsage), and they sign; the bundle is
// opened and rebuilt from the base by the checker, whose refusal comes back as the error. Only missing roles
// may remain. Same request, keys and time: same bytes.
Result<SealedBundle> seal(const SealRequest& request, const KeySource& keys, const TrustFile& trust);
// The same with keys at hand, which are looked at first.
Result<SealedBundle> seal(const SealRequest& request, const SigningKeys& keys, const TrustFile& trust);

}  // namespace calseal
