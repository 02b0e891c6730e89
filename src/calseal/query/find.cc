#include "calseal/query/find.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/prefix.h"
#include "calseal/job/handover.h"
#include "calseal/trust/judge.h"

namespace calseal {
namespace {

// The condition of a criterion; its values are bound in the order of its question marks.
std::string_view condition_of(CriterionKind kind) {
  switch (kind) {
    case CriterionKind::kTouches:
      return "r.file IN (SELECT file FROM changes WHERE memory=? AND first<? AND past>?)";
    case CriterionKind::kRegion:
      return "r.file IN (SELECT file FROM changes WHERE region=?)";
    case CriterionKind::kItem:
      return "r.file IN (SELECT file FROM items WHERE name=?)";
    case CriterionKind::kOption:
      return "r.file IN (SELECT file FROM options WHERE name=?)";
    case CriterionKind::kMap:
      return "r.map=?";
    case CriterionKind::kStock:
      return "(r.pinned_before=? OR EXISTS (SELECT 1 FROM stock s JOIN revisions b ON b.file=s.file WHERE "
             "s.digest=?"
             " AND b.job=r.job AND b.controller=r.controller AND b.base=r.base AND"
             " b.pinned_before=r.pinned_before))";
    case CriterionKind::kSoftware:
      return "r.file IN (SELECT file FROM identity WHERE kind='software-number' AND value=?)";
    case CriterionKind::kKey:
      return "r.file IN (SELECT file FROM signers WHERE key=?)";
    case CriterionKind::kJob:
      return "r.job=?";
    case CriterionKind::kController:
      return "r.controller=?";
    case CriterionKind::kVehicle:
      return "r.vehicle=?";
    case CriterionKind::kRevision:
      return "r.revision=?";
    case CriterionKind::kIdentity:
      return "r.identity=?";
  }
  return "0";
}

void bind_values(Query& statement, const Criterion& criterion) {
  switch (criterion.kind) {
    case CriterionKind::kTouches:
      statement.bind(criterion.text).bind(criterion.range.end).bind(criterion.range.begin);
      return;
    case CriterionKind::kStock:
      statement.bind(criterion.digest).bind(criterion.digest);
      return;
    case CriterionKind::kMap:
    case CriterionKind::kKey:
    case CriterionKind::kIdentity:
      statement.bind(criterion.digest);
      return;
    case CriterionKind::kRevision:
      statement.bind(criterion.number);
      return;
    default:
      statement.bind(criterion.text);
  }
}

// From the bundle itself, whatever the index says.
Status judge_seal(const std::string& path, const Sha256& identity, const TrustFile& trust) {
  const std::string name = printable(path);
  CALSEAL_ASSIGN(PartialFile file, PartialFile::open(path, kBundleSizeLimit));
  Bytes bytes;
  CALSEAL_CHECK(file.read_up_to(kPrefixSizeLimit, bytes));
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(bytes, name));
  CALSEAL_ASSIGN(const Signers signers, verify_prefix_signatures(prefix, trust, name));
  CALSEAL_ASSIGN(const Manifest manifest, parse_manifest(prefix.manifest, name));
  const Sha256 digest = compute_sha256(prefix.manifest);
  if (digest != identity) {
    return fail({Reason::kFileUnreadable, name, "", "another revision than a moment ago",
                 digest_text(identity), "ask again"});
  }
  return judge_trust(manifest, digest, signers, trust, nullptr, name);
}

void judge(FoundRevision& found, const std::string& folder, const TrustFile& trust) {
  const Status seal = judge_seal(folder + "/" + found.file, found.identity, trust);
  found.seal = seal                                           ? SealState::kHolds
               : seal.error().reason == Reason::kRolesMissing ? SealState::kIncomplete
                                                              : SealState::kRefused;
  if (found.seal == SealState::kRefused) found.reason = code(seal.error().reason);
}

constexpr std::string_view kRows =
    "SELECT f.path, r.identity, r.job, r.controller, r.title, r.time, r.vehicle, r.base, r.revision, "
    "r.sequence FROM revisions r JOIN files f ON f.file=r.file";

FoundRevision read_row(const Index& index, const Query& row, const TrustFile* trust) {
  FoundRevision found;
  found.file = row.text(0);
  found.identity = row.digest(1).value_or(Sha256{});
  found.job = row.text(2);
  found.controller = row.text(3);
  found.title = row.text(4);
  found.claimed_time = row.text(5);
  found.vehicle_reference = row.text(6);
  found.base = row.number(7);
  found.revision = row.number(8);
  found.sequence = row.number(9);
  if (trust != nullptr) judge(found, index.folder, *trust);
  return found;
}

}  // namespace

std::string_view seal_state_name(SealState state) {
  constexpr std::string_view names[] = {"not-looked-at", "holds", "incomplete", "refused"};
  return names[static_cast<std::size_t>(state)];
}

bool is_handed_over(const FoundRevision& found) {
  const std::size_t name = found.file.rfind('/');
  if (name == std::string::npos) return false;
  const std::string folder = found.file.substr(0, name);
  return handover_number(folder.substr(folder.rfind('/') + 1)) != 0;
}

Result<std::vector<FoundRevision>> find_revisions(const Index& index, const std::vector<Criterion>& criteria,
                                                  const TrustFile* trust) {
  std::string sql(kRows);
  for (std::size_t i = 0; i < criteria.size(); ++i)
    sql += (i == 0 ? " WHERE " : " AND ") + std::string(condition_of(criteria[i].kind));
  sql += " ORDER BY r.job, r.controller, r.sequence, f.path";
  Query statement(*index.database, sql);
  for (const Criterion& criterion : criteria) bind_values(statement, criterion);
  std::vector<FoundRevision> all;
  while (statement.step()) all.push_back(read_row(index, statement, trust));
  CALSEAL_CHECK(index.database->status());
  drop_handed_copies(all, [](const FoundRevision& found) -> const FoundRevision& { return found; });
  return all;
}

Result<std::optional<FoundRevision>> find_file(const Index& index, std::int64_t file,
                                               const TrustFile* trust) {
  Query statement(*index.database, std::string(kRows) + " WHERE r.file=?");
  statement.bind(file);
  std::optional<FoundRevision> found;
  if (statement.step()) found = read_row(index, statement, trust);
  CALSEAL_CHECK(index.database->status());
  return found;
}

}  // namespace calseal
