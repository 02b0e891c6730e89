// The request for the next revision of a job: its place behind the others, what the base says of job and
// vehicle, and the image. What a person says besides is filled in by whoever asks.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/check/open.h"
#include "calseal/map/correct.h"
#include "calseal/map/read.h"
#include "calseal/sign/seal.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// What signing needs; the keys are the caller's.
struct Signing {
  KeySource keys;
  const TrustFile* trust = nullptr;
  NamedBytes trust_file;  // the same, byte for byte
  UtcTime now;
  std::string tool;
  std::vector<NamedBytes> approvals;  // of region maps; new ones
};

// A bundle of the shop's own, under its own trust file.
Result<OpenedBundle> open_issued(NamedBytes bundle, const Signing& signing,
                                 RolesRule roles = RolesRule::kRequired);
// The same from a file.
Result<OpenedBundle> open_issued_file(const std::string& path, const Signing& signing,
                                      RolesRule roles = RolesRule::kRequired);

// Where a revision stands among those of its job.
struct RevisionPlace {
  std::uint64_t revision = 0;
  std::uint64_t sequence = 1;
  std::optional<Sha256> parent;
  FollowedRules followed;  // of the parent, or of what is newer
};
// As `revision` right behind `before`, which may be of the base before.
RevisionPlace place_behind(const OpenedBundle& before, std::uint64_t revision);
// Behind `parent`, or behind the base itself where there is none. kUsage unless `base` is revision 0 and the
// parent one of the same job and base, for the map's controller.
Result<RevisionPlace> place_on(const OpenedBundle& base, const OpenedBundle* parent, const RegionMap& map);

// What is said of a base with its revision 0.
struct BaseStatement {
  std::string job;
  std::string reason = "first read";
  std::string title, vehicle_reference;
  std::uint64_t number = 1;
  bool as_received = false;  // see SealRequest
  std::vector<std::pair<std::string, std::string>> annotations;
};

// Revision 0 of the base that `read` is. The map must outlive every request.
SealRequest request_for_base(const RegionMap& map, const Read& read, const BaseStatement& said,
                             RevisionPlace place, const Signing& signing);
// A later revision on the base that `base` sealed; nothing is edited yet. `map` may be newer than the base's.
SealRequest request_on(const OpenedBundle& base, const RegionMap& map, RevisionPlace place,
                       const Signing& signing);
// The same revision once more, whole: every word of it, and its image on this base. Options and the salt are
// for the caller to add. The reasons of read_content() and correct().
Result<SealRequest> request_again(const OpenedBundle& revision, const OpenedBundle& base, RevisionPlace place,
                                  const Signing& signing);

// Lays edited files over the base, as the request's result. The reasons of lay_edit().
Status lay_result(SealRequest& request, std::vector<ReadFile> edited);
// Sets the derived bytes of the result. The reasons of make_plan() and correct().
Result<CorrectionReport> correct_result(SealRequest& request);

// kSaltWrong unless `salt` is the one that the base names, or it names none. `file`, `next`: of the error.
Status require_salt_of(const Manifest& base, const std::optional<Bytes>& salt, const std::string& file,
                       const std::string& next);

}  // namespace calseal
