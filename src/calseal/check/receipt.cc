#include "calseal/check/receipt.h"

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::string_view kCodeText = R"({"calseal":"receipt-code/1","outcome":")";

tl::unexpected<Error> invalid(const std::string& name, std::string place, std::string found,
                              std::string expected) {
  return fail({Reason::kReceiptInvalid, name, std::move(place), std::move(found), std::move(expected),
               "ask the customer to check the bundle again and to send what his checker writes"});
}

PublicKey read_key(JsonObject& object) {
  const Bytes bytes = object.hex("key", kPublicKeySize, kPublicKeySize);
  PublicKey key;
  std::copy(bytes.begin(), bytes.end(), key.bytes.begin());
  return key;
}

Receipt read_fields(JsonObject& object) {
  Receipt receipt;
  receipt.key = read_key(object);
  receipt.revision = read_digest(object, "revision");
  receipt.job = read_name(object, "job");
  receipt.controller = read_name(object, "controller");
  receipt.outcome = static_cast<Outcome>(
      object.choice("outcome", {outcome_name(Outcome::kAccepted), outcome_name(Outcome::kRefused),
                                outcome_name(Outcome::kAuthentic)}));
  receipt.reason = object.text("reason", 64);
  receipt.vehicle = static_cast<VehicleProof>(object.choice(
      "vehicle",
      {vehicle_proof_name(VehicleProof::kNone), vehicle_proof_name(VehicleProof::kProved),
       vehicle_proof_name(VehicleProof::kByReference), vehicle_proof_name(VehicleProof::kAsserted)}));
  if (const auto node = object.required("head")) {
    JsonObject head(*node);
    receipt.head_size = head.integer("size", 0, kJsonIntegerLimit);
    receipt.head_root_hash = read_digest(head, "root_hash");
    head.done();
  }
  receipt.claimed_time = read_time(object, "claimed_time");
  return receipt;
}

}  // namespace

std::string write_receipt_text(const Receipt& receipt) {
  return canonical_json(json_object(
      {{"calseal", json("receipt/1")},
       {"key", json(to_hex(receipt.key.bytes))},
       {"revision", json_digest(receipt.revision)},
       {"job", json(receipt.job)},
       {"controller", json(receipt.controller)},
       {"outcome", json(outcome_name(receipt.outcome))},
       {"reason", json(receipt.reason)},
       {"vehicle", json(vehicle_proof_name(receipt.vehicle))},
       {"head",
        json_object({{"size", json(receipt.head_size)}, {"root_hash", json_digest(receipt.head_root_hash)}})},
       {"claimed_time", json(receipt.claimed_time)}}));
}

Result<Receipt> parse_receipt(ByteView file, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kReceiptLiteral, kReceiptSizeLimit, Reason::kReceiptInvalid, name));
  CALSEAL_ASSIGN(Receipt receipt, parse_canonical_text(statement.signed_bytes, Reason::kReceiptInvalid,
                                                       read_fields, write_receipt_text, name));
  CALSEAL_CHECK(check_public_key(receipt.key, name));
  if (statement.signatures.size() != 1 || statement.signatures[0].key_id != compute_key_id(receipt.key) ||
      !verify_signature(receipt.key, statement.signed_bytes, statement.signatures[0].signature))
    return invalid(name, "line 2", "a signature that does not verify",
                   "exactly one, by the key that it names");
  return receipt;
}

Status check_receipt(const Receipt& receipt, const Sha256& manifest_digest, const std::string& name) {
  if (receipt.revision != manifest_digest)
    return invalid(name, "revision", digest_text(receipt.revision), digest_text(manifest_digest));
  if (receipt.outcome == Outcome::kRefused)
    return invalid(name, "outcome", "refused: " + printable(receipt.reason), "a revision that was accepted");
  return {};
}

std::string receipt_code(const Sha256& manifest_digest, Outcome outcome, ByteView salt) {
  if (outcome == Outcome::kRefused) return {};
  const std::string text = std::string(kCodeText) + std::string(outcome_name(outcome)) + R"(","revision":")" +
                           digest_text(manifest_digest) + R"("})";
  return spoken_code(Spoken::kReceipt, compute_hmac_sha256(salt, view_of(text)));
}

Status check_receipt_code(std::string_view code, const Sha256& manifest_digest, ByteView salt) {
  const SpokenReading heard = read_spoken_code(code, Spoken::kReceipt);
  const auto refuse = [&](std::string expected) {
    return invalid("", "code", "\"" + printable(code, 40) + "\"", std::move(expected));
  };
  if (!heard.fault.empty()) return refuse("a receipt's code; here " + heard.fault);
  for (const Outcome outcome : {Outcome::kAccepted, Outcome::kAuthentic}) {
    if (receipt_code(manifest_digest, outcome, salt) == heard.code) return {};
  }
  return refuse("what the customer's checker prints for this revision with this job's salt");
}

}  // namespace calseal
