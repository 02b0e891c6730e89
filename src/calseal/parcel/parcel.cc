#include "calseal/parcel/parcel.h"

#include "calseal/base/file.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/parcel/consistency.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::string_view kThisFormat = R"({"calseal":"parcel/1",)";
constexpr std::string_view kAnyFormat = R"({"calseal":"parcel/)";
constexpr std::string_view kKeyBegin = R"({"calseal":"parcel/1","key":")";
constexpr std::size_t kKeyDigits = 64;

void answer_fields(Fields& field, ParcelAnswer& answer) {
  field("question", answer.question, kName);
  field("answer", answer.answer, Text{kAnswerSizeLimit});
}

void read_fields(Fields& field, ParcelRead& read) {
  field("entry", read.entry, kLine);
  field("controller", read.controller, kMaybeName);
  field("memory", read.memory, kMaybeName);
  field("series", read.series, Integer{1, kSeriesLimit});
  field("file_name", read.file_name, kLine);
}

void log_fields(Fields& field, ParcelLog& log) {
  field("entry", log.entry, kLine);
  field("revision", log.revision, kMaybeDigest);
  field("file_name", log.file_name, kLine);
}

void finding_fields(Fields& field, ParcelFinding& finding) {
  field("entry", finding.entry, kLine);
  field("code", finding.code, kName);
}

// The key that the text names, read without parsing it: nothing is believed yet.
Result<PublicKey> key_in(ByteView text, const std::string& name) {
  const std::string_view begin = text_of(text);
  const auto wrong = [&](Reason reason, std::string next) {
    return fail({reason, name, std::string(kParcelEntry),
                 "\"" + printable(begin.substr(0, kKeyBegin.size()), 60) + "\" at the beginning",
                 std::string(kKeyBegin) + " and a key of 64 hexadecimal digits", std::move(next)});
  };
  const auto digits =
      begin.starts_with(kKeyBegin) ? from_hex(begin.substr(kKeyBegin.size(), kKeyDigits)) : std::nullopt;
  if (digits && digits->size() == kPublicKeySize &&
      begin.substr(kKeyBegin.size() + kKeyDigits).starts_with("\",")) {
    PublicKey key;
    std::copy(digits->begin(), digits->end(), key.bytes.begin());
    return key;
  }
  if (begin.starts_with(kThisFormat))
    return wrong(Reason::kParcelInvalid, "do not use this file; ask the customer for a new copy");
  if (begin.starts_with(kAnyFormat))
    return wrong(Reason::kFormatUnknown, "use a newer calseal for this file");
  return wrong(Reason::kTypeWrong, "check that this is the right file for this place");
}

struct Beginning {
  SignedPrefix prefix;
  Parcel parcel;
};

// Checks 1 to 4.
Result<Beginning> read_beginning(ByteView file, const std::string& name) {
  Beginning out;
  CALSEAL_ASSIGN(out.prefix, read_signed_prefix(file, kParcelPrefix, name));
  CALSEAL_ASSIGN(const PublicKey key, key_in(out.prefix.first, name));
  const PrefixSignature& signature = out.prefix.signatures.front();
  if (signature.key_id != compute_key_id(key)) {
    return fail({Reason::kParcelInvalid, name, signature_entry_name(signature.key_id),
                 "the id of another key than parcel.json names", digest_text(compute_key_id(key)),
                 "ask the customer for the parcel again"});
  }
  CALSEAL_CHECK(check_public_key(key, name));
  if (!verify_signature(key, out.prefix.first, signature.signature)) {
    return fail({Reason::kSignatureBad, name, signature_entry_name(signature.key_id),
                 "a signature that does not verify", "one over exactly this parcel.json",
                 "use nothing of it; ask the customer for the parcel again"});
  }
  CALSEAL_ASSIGN(out.parcel,
                 parse_canonical_text(out.prefix.first, Reason::kParcelInvalid, parcel_fields, name));
  CALSEAL_CHECK(check_parcel_consistency(out.parcel, name));
  return out;
}

Framing framing_of(const Beginning& beginning) {
  return compute_framing(kParcelEntry, beginning.prefix.first, beginning.prefix.signatures,
                         beginning.parcel.entries);
}

}  // namespace

std::string read_entry_name(std::size_t index) { return "reads/" + std::to_string(index + 1) + ".bin"; }
std::string log_entry_name(std::size_t index) { return "logs/" + std::to_string(index + 1) + ".log"; }

void parcel_fields(Fields& field, Parcel& parcel) {
  field.kind_of_file("parcel/1");
  field("key", parcel.key, kHex32);
  field("number", parcel.number, Integer{1, kParcelNumberLimit});
  field("claimed_time", parcel.claimed_time, kTime);
  field("root", parcel.root, kMaybeDigest);
  field("sheet", parcel.sheet, kMaybeDigest);
  field("job", parcel.job, kMaybeName);
  field("vehicle_reference", parcel.vehicle_reference, kLine);
  field("words", parcel.words, Text{kTextLimit});
  field("order", parcel.order, List{kName, kParcelOrderLimit});
  field("answers", parcel.answers, List{Record{answer_fields}, kParcelAnswerLimit});
  field("accepted", parcel.accepted, List{kLine, kAcceptedLimit});
  field("reads", parcel.reads, List{Record{read_fields}, kParcelReadLimit});
  field("logs", parcel.logs, List{Record{log_fields}, kParcelLogLimit});
  field("findings", parcel.findings, List{Record{finding_fields}, kParcelFindingLimit});
  field("tool", parcel.tool, kLine);
  field("entries", parcel.entries, List{Record{entry_fields}, kParcelReadLimit + kParcelLogLimit});
}

std::string write_parcel_text(const Parcel& parcel) { return canonical_text(parcel, parcel_fields); }

Result<Bytes> OpenedParcel::content(std::size_t index) const {
  return read_content(file, framing, parcel.entries, index, name);
}

Result<OpenedParcel> open_parcel(Bytes file, const std::string& name) {
  CALSEAL_ASSIGN(Beginning beginning, read_beginning(file, name));
  OpenedParcel opened;
  opened.name = name;
  opened.framing = framing_of(beginning);
  opened.text_digest = compute_sha256(beginning.prefix.first);
  opened.parcel = std::move(beginning.parcel);
  const std::vector<ManifestEntry>& entries = opened.parcel.entries;
  CALSEAL_CHECK(verify_framing(file, opened.framing, name));
  CALSEAL_CHECK(verify_stored_digests(file, opened.framing, entries, name));
  for (std::size_t i = 0; i < entries.size(); ++i)
    CALSEAL_CHECK(verify_content(file, opened.framing, entries, i, name));
  opened.digest = compute_sha256(file);
  opened.file = std::move(file);
  return opened;
}

Result<OpenedParcel> read_parcel(const std::string& path) {
  CALSEAL_ASSIGN(PartialFile file, PartialFile::open(path, kBundleSizeLimit));
  Bytes bytes;
  CALSEAL_CHECK(file.read_up_to(kPrefixSizeLimit, bytes));
  // What is wrong with the beginning is found again, with the same reason, in what was read.
  if (const Result<Beginning> beginning = read_beginning(bytes, printable(path)))
    CALSEAL_CHECK(file.read_up_to(framing_of(*beginning).total_size + 1, bytes));
  return open_parcel(std::move(bytes), printable(path));
}

bool begins_as_parcel(ByteView beginning) {
  const std::string_view text = text_of(beginning);
  return text.starts_with("PK\x03\x04") && text.size() > kLocalHeaderSize &&
         text.substr(kLocalHeaderSize).starts_with(kParcelEntry);
}

std::string parcel_fingerprint(const Parcel& parcel) {
  return spoken_code(Spoken::kKey, compute_key_id(parcel.key));
}

}  // namespace calseal
