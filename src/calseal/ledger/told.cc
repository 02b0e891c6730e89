#include "calseal/ledger/told.h"

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/confirm.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

Error usage(std::string place, std::string found, std::string expected, std::string next) {
  return {Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)};
}

}  // namespace

Status judge_words(EntryKind kind, const std::string& words) {
  if (!is_line(words))
    return fail(usage("--words", printable(words, 80), "one line of at most 200 bytes", "shorten it"));
  if ((kind == EntryKind::kSent || kind == EntryKind::kWithdrawn) && words.empty())
    return fail(usage("--words", "no words", kind == EntryKind::kSent ? "the channel" : "why", "state them"));
  if (kind != EntryKind::kConfirmed) return {};
  for (const ProofGrade grade :
       {ProofGrade::kBytes, ProofGrade::kVerificationNumber, ProofGrade::kIdentity}) {
    if (words == proof_grade_name(grade)) return {};
  }
  return fail(usage("--words", printable(words, 80), "bytes, verification-number or identity",
                    "take the grade that calseal confirm says"));
}

Status check_fingerprint(const Receipt& receipt, const std::string& told, const std::string& name) {
  if (told.empty()) return {};
  const SpokenReading heard = read_spoken_code(told, Spoken::kKey);
  if (!heard.fault.empty())
    return fail(usage("--fingerprint", "\"" + printable(told, 80) + "\"",
                      "the code of the customer's key; here " + heard.fault, "ask him to read it again"));
  const std::string code = spoken_code(Spoken::kKey, compute_key_id(receipt.key));
  if (heard.code == code) return {};
  return fail({Reason::kReceiptInvalid, name, "key", code,
               heard.code + ": " + spoken_difference(code, heard.code),
               "it was signed with another key than the customer's; call him"});
}

}  // namespace calseal
