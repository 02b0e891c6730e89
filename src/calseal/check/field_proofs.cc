#include "calseal/check/field_proofs.h"

#include <algorithm>

namespace calseal {
namespace {

// What it takes to prove a field.
enum class Needs : std::uint8_t {
  kNothing,  // the bundle's own bytes: steps 1 to 11
  kRead,     // step 13
  kVehicle,  // step 13, with a salt and a binding field that says something
  kWayBack,  // revision 0
  kNobody,   // the shop's word
};

struct Row {
  const char* field;
  Needs needs;
};

constexpr Row kRows[] = {
    {"calseal", Needs::kNothing},
    {"format", Needs::kNothing},
    {"job", Needs::kNobody},
    {"base", Needs::kNobody},
    {"revision", Needs::kNobody},
    {"sequence", Needs::kNobody},
    {"parent", Needs::kNobody},
    {"set", Needs::kNothing},
    {"claimed_time", Needs::kNobody},
    {"trial", Needs::kNobody},
    {"expires", Needs::kNobody},
    {"required_roles", Needs::kNobody},
    {"title", Needs::kNobody},
    {"notes", Needs::kNobody},
    {"vehicle_reference", Needs::kNobody},
    {"salt_digest", Needs::kNobody},
    {"controllers/name", Needs::kNothing},
    {"controllers/region_map", Needs::kNothing},
    {"controllers/memories", Needs::kNothing},
    {"controllers/memories/known", Needs::kNobody},
    {"controllers/identity", Needs::kRead},
    {"controllers/binding", Needs::kVehicle},
    {"controllers/spans", Needs::kRead},
    {"controllers/spans/before", Needs::kWayBack},
    {"controllers/pinned", Needs::kNothing},
    {"controllers/files", Needs::kRead},
    {"controllers/checksums", Needs::kRead},
    {"controllers/patches", Needs::kRead},
    {"controllers/write_ranges", Needs::kRead},
    {"controllers/payload", Needs::kRead},
    {"permitted_returns", Needs::kNobody},
    {"approvals", Needs::kNobody},
    {"options", Needs::kNobody},
    {"requirements", Needs::kNobody},
    {"cautions", Needs::kNobody},
    {"attachments", Needs::kNobody},
    {"annotations", Needs::kNobody},
    {"tool", Needs::kNobody},
    {"entries", Needs::kNothing},
};

}  // namespace

std::vector<FieldAnswer> field_answers(const Verdict& verdict) {
  if (verdict.outcome == Outcome::kRefused || !verdict.manifest) return {};
  const Manifest& manifest = *verdict.manifest;
  const bool read = verdict.outcome == Outcome::kAccepted;
  const std::vector<ManifestFile>& files = manifest.controller().files;
  const bool files_as_received =
      manifest.revision == 0 && std::ranges::any_of(files, [](const ManifestFile& file) {
        return file.form != "raw" || file.memory.empty();
      });
  std::vector<FieldAnswer> answers;
  for (const Row& row : kRows) {
    bool proved = row.needs == Needs::kNothing || (row.needs == Needs::kRead && read);
    proved = proved || (row.needs == Needs::kVehicle && verdict.vehicle == VehicleProof::kProved);
    proved = proved || (row.needs == Needs::kWayBack && read && manifest.revision == 0);
    if (row.field == std::string_view("controllers/files") && files_as_received) proved = false;
    answers.push_back({row.field, proved ? Answer::kProved : Answer::kWord});
  }
  return answers;
}

}  // namespace calseal
