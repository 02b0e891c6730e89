#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/confirmation/confirmation_report.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

JsonValue bundle_json(const Confirmation& confirmation) {
  if (!confirmation.manifest) return JsonValue{};
  const Manifest& manifest = *confirmation.manifest;
  return json_object({{"identity", json(digest_text(confirmation.manifest_digest))},
                      {"phrase", json(spoken_code(Spoken::kRevision, confirmation.manifest_digest))},
                      {"job", json(manifest.job)},
                      {"controller", json(manifest.controller().name)},
                      {"base", json(manifest.base_number)},
                      {"revision", json(manifest.revision)},
                      {"sequence", json(manifest.sequence)},
                      {"title", json(manifest.title)},
                      {"signers", json_strings(confirmation.signers)},
                      {"shop", json(confirmation.shop)},
                      {"root_fingerprint", json(confirmation.root_fingerprint)}});
}

JsonValue first_json(const Confirmation& confirmation) {
  if (!confirmation.first) return JsonValue{};
  const Difference& first = *confirmation.first;
  return json_object({{"memory", json(first.place.memory)},
                      {"start", json(address_text(first.place.range.begin))},
                      {"size", json(first.place.range.size())},
                      {"region", json(first.region)},
                      {"kind", json(span_kind_name(first.kind))},
                      {"exact", json(first.exact)}});
}

JsonValue read_json(const Confirmation& confirmation) {
  if (!confirmation.read_compared) return JsonValue{};
  return json_object({{"vehicle_proof", json(vehicle_proof_name(confirmation.vehicle))},
                      {"bytes_compared", json(confirmation.bytes_compared)},
                      {"bytes_differing", json(confirmation.bytes_differing)},
                      {"bytes_changed", json(confirmation.bytes_changed)},
                      {"bytes_arrived", json(confirmation.bytes_arrived)},
                      {"first_difference", first_json(confirmation)}});
}

}  // namespace

JsonValue confirmation_json(const Confirmation& confirmation) {
  return json_object(
      {{"calseal", json("confirm/1")},
       {"verdict", json(confirmation_word(confirmation))},
       {"reason", json(confirmation.reason ? code(confirmation.reason->reason) : std::string_view())},
       {"error", confirmation.reason ? json_error(*confirmation.reason) : JsonValue{}},
       {"grade", json(proof_grade_name(confirmation.grade))},
       {"proves", json(confirmation.reason ? std::string_view() : grade_proves(confirmation.grade))},
       {"leaves_open",
        json(confirmation.reason ? std::string_view() : grade_leaves_open(confirmation.grade))},
       {"bundle", bundle_json(confirmation)},
       {"read", read_json(confirmation)},
       {"scan", json_array(confirmation.scan,
                           [](const ComparedValue& value) {
                             return json_object({{"name", json(value.name)},
                                                 {"kind", json(value.kind)},
                                                 {"state", json(scan_state_name(value.state))},
                                                 {"tells_apart", json(value.tells_apart)},
                                                 {"why", json(value.why)}});
                           })},
       {"cautions",
        json_array(confirmation.cautions,
                   [](const Caution& caution) {
                     return json_object({{"code", json(caution.code)}, {"text", json(caution.text)}});
                   })},
       {"after_writing", json_strings(after_writing_cautions(confirmation.confirmed()))}});
}

}  // namespace calseal
