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

}  // namespace

void receipt_fields(Fields& field, Receipt& receipt) {
  field.kind_of_file("receipt/1");
  field("key", receipt.key, kHex32);
  field("revision", receipt.revision, kDigest);
  field("job", receipt.job, kName);
  field("controller", receipt.controller, kName);
  field("outcome", receipt.outcome, Choice{kOutcomeNames});
  field("reason", receipt.reason, Text{64});
  field("vehicle", receipt.vehicle, Choice{kVehicleProofNames});
  field.object("head", [&](Fields& head) {
    head("size", receipt.head_size, Integer{});
    head("root_hash", receipt.head_root_hash, kDigest);
  });
  field("claimed_time", receipt.claimed_time, kTime);
}

std::string write_receipt_text(const Receipt& receipt) { return canonical_text(receipt, receipt_fields); }

Result<Receipt> parse_receipt(ByteView file, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kReceiptLiteral, kReceiptSizeLimit, Reason::kReceiptInvalid, name));
  CALSEAL_ASSIGN(Receipt receipt,
                 parse_canonical_text(statement.signed_bytes, Reason::kReceiptInvalid, receipt_fields, name));
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
