#include "calseal/base/json_write.h"
#include "calseal/bundle/order_lines.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/field_proofs.h"
#include "calseal/report/verdict/verdict_report.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

JsonValue bundle_json(const Verdict& verdict) {
  if (!verdict.manifest) return JsonValue{};
  const Manifest& manifest = *verdict.manifest;
  const ManifestController& controller = manifest.controller();
  return json_object({{"identity", json(digest_text(verdict.manifest_digest))},
                      {"phrase", json(spoken_code(Spoken::kRevision, verdict.manifest_digest))},
                      {"job", json(manifest.job)},
                      {"controller", json(controller.name)},
                      {"base", json(manifest.base_number)},
                      {"revision", json(manifest.revision)},
                      {"sequence", json(manifest.sequence)},
                      {"title", json(manifest.title)},
                      {"vehicle_reference", json(manifest.vehicle_reference)},
                      {"claimed_time", json(manifest.claimed_time)},
                      {"region_map", json(controller.map_name)},
                      {"region_map_version", json(controller.map_version)},
                      {"region_map_grade", json(controller.map_grade)},
                      {"signers", json_strings(verdict.signers)},
                      {"shop", json(verdict.shop)},
                      {"root_fingerprint", json(verdict.root_fingerprint)}});
}

JsonValue ordered_json(const Verdict& verdict) {
  const Manifest none;
  const Manifest& manifest = verdict.manifest ? *verdict.manifest : none;
  return json_object({{"time", json(manifest.ordered.time)},
                      {"parcel", json_digest(manifest.ordered.parcel)},
                      {"options", json_array(order_lines(manifest), [](const OrderLine& line) {
                         return json_object({{"name", json(line.name)},
                                             {"title", json(line.title)},
                                             {"state", json(order_state_name(line.state))},
                                             {"why", json(line.why)}});
                       })}});
}

JsonValue fields_json(const Verdict& verdict, Answer answer) {
  std::vector<std::string> fields;
  for (const FieldAnswer& one : field_answers(verdict)) {
    if (one.answer == answer) fields.push_back(one.field);
  }
  return json_strings(fields);
}

JsonValue trust_json(const Verdict& verdict) {
  if (verdict.trust_version == 0) return JsonValue{};
  return json_object({{"version", json(verdict.trust_version)}, {"claimed_time", json(verdict.trust_time)}});
}

}  // namespace

JsonValue verdict_json(const Verdict& verdict) {
  return json_object(
      {{"calseal", json("check/1")},
       {"verdict", json(outcome_name(verdict.outcome))},
       {"reason", json(verdict.reason ? code(verdict.reason->reason) : std::string_view())},
       {"error", verdict.reason ? json_error(*verdict.reason) : JsonValue{}},
       {"trust", trust_json(verdict)},
       {"bundle", bundle_json(verdict)},
       {"passage", json(passage_name(verdict.passage))},
       {"set", json_object({{"drivable_between_writes", json(verdict.drivable_between_writes)},
                            {"members", json_array(verdict.partners,
                                                   [](const SetPartner& partner) {
                                                     return json_object(
                                                         {{"controller", json(partner.controller)},
                                                          {"base", json(partner.base)},
                                                          {"sequence", json(partner.sequence)},
                                                          {"given", json(partner.given)}});
                                                   })}})},
       {"ordered", ordered_json(verdict)},
       {"vehicle_proof", json(vehicle_proof_name(verdict.vehicle))},
       {"proved_fields", fields_json(verdict, Answer::kProved)},
       {"word_of_shop", fields_json(verdict, Answer::kWord)},
       {"editable_share", json(verdict.editable_share)},
       {"bytes_to_change", json(verdict.bytes_to_change)},
       {"files", json_array(verdict.files,
                            [](const RebuiltFile& file) {
                              return json_object({{"memory", json(file.memory)},
                                                  {"size", json(file.bytes.size())},
                                                  {"sha256", json(digest_text(file.digest))}});
                            })},
       {"steps",
        json_array(
            verdict.steps,
            [](const Step& step) {
              return json_object({{"name", json(step.name)}, {"state", json(step_state_name(step.state))}});
            })},
       {"evidence", json_array(verdict.evidence,
                               [](const EvidenceItem& item) {
                                 return json_object({{"name", json(item.name)},
                                                     {"given", json(item.given)},
                                                     {"detail", json(item.detail)}});
                               })},
       {"cautions",
        json_array(verdict.cautions,
                   [](const Caution& caution) {
                     return json_object({{"code", json(caution.code)}, {"text", json(caution.text)}});
                   })},
       {"before_writing", json_strings(verdict.outcome == Outcome::kAccepted ? writing_cautions()
                                                                             : std::vector<std::string>())}});
}

}  // namespace calseal
