// Parcels, sheets, customer files and looks as the programs judge them, in the protocol of
// fixtures/parcels/README.md.
//
//   calseal_parcels --lines   requests on stdin, answers on stdout, one line each
#include <openssl/evp.h>

#include <algorithm>
#include <cstdio>
#include <iostream>
#include <map>

#include "calseal/base/file.h"
#include "calseal/base/json_reader.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/parcel/closed.h"
#include "calseal/parcel/customer_file.h"
#include "calseal/parcel/judge.h"
#include "calseal/parcel/look.h"
#include "calseal/parcel/parcel.h"
#include "calseal/receipt/customer_key.h"
#include "calseal/trust/sheet.h"
#include "calseal/trust/succession.h"

namespace calseal {
namespace {

constexpr std::uint64_t kMost = std::uint64_t{1} << 32;
constexpr std::string_view kGiven = "base64:";

[[noreturn]] void give_up(const std::string& why) {
  std::fprintf(stderr, "calseal_parcels: %s\n", why.c_str());
  std::exit(2);
}

Bytes content(const std::string& word) {
  if (!word.starts_with(kGiven)) {
    Result<Bytes> bytes = read_file(word, kMost);
    if (!bytes && bytes.error().reason == Reason::kFileEmpty) return {};
    if (!bytes) give_up(word);
    return *std::move(bytes);
  }
  const std::string text = word.substr(kGiven.size());
  Bytes bytes(text.size() / 4 * 3);
  if (text.empty()) return bytes;
  const int size = EVP_DecodeBlock(bytes.data(), reinterpret_cast<const unsigned char*>(text.data()),
                                   static_cast<int>(text.size()));
  if (size < 0) give_up("base64");
  bytes.resize(static_cast<std::size_t>(size) -
               static_cast<std::size_t>(std::count(text.end() - 2, text.end(), '=')));
  return bytes;
}

std::string hex_of_sha256(ByteView bytes) { return digest_text(compute_sha256(bytes)); }

JsonValue no_results() {
  JsonValue value;
  value.kind = JsonValue::Kind::kObject;
  return value;
}

struct Answer {
  std::vector<std::string> cautions;
  JsonValue results = no_results();
};

// Requests are small but for what is given in base64.
std::string word(JsonObject& request, std::string_view key) { return request.text(key, kMost); }

std::vector<std::string> words(JsonObject& request, std::string_view key) {
  std::vector<std::string> found;
  for (const JsonNode& item : request.items(key, 100000)) found.push_back(item.text(kMost));
  return found;
}

Result<TrustChain> chain_of(const std::string& trust, const std::vector<std::string>& successions) {
  std::vector<NamedBytes> steps;
  for (const std::string& one : successions) steps.push_back({"succession", content(one)});
  return parse_trust_chain({"trust", content(trust)}, steps, "");
}

Result<Bytes> inside(const Bytes& file, const std::string& key) {
  if (key.empty())
    return fail({Reason::kParcelClosed, "parcel", "", "a closed parcel, and no key", "the key", ""});
  const Bytes text = content(key);
  const auto secret = from_hex(text_of(text).substr(0, 64));
  if (!secret || secret->size() != 32) give_up("no key");
  ParcelSecret parcel_secret;
  std::copy(secret->begin(), secret->end(), parcel_secret.bytes.begin());
  return open_closed_parcel(file, parcel_secret, "parcel");
}

Status judge_for_job(const Parcel& parcel, JsonObject& request) {
  const std::string job = word(request, "job");
  if (job.empty()) return {};
  CALSEAL_CHECK(check_parcel_job(parcel, job, word(request, "vehicle_reference"), "parcel"));
  std::vector<EarlierParcel> earlier;
  for (const std::string& one : words(request, "earlier")) {
    CALSEAL_ASSIGN(const OpenedParcel known, open_parcel(content(one), "earlier"));
    earlier.push_back({compute_key_id(known.parcel.key), known.parcel.number});
  }
  return check_parcel_sender(parcel, earlier, request.boolean("customer_changed"), "parcel");
}

Result<Answer> judge_parcel(JsonObject& request) {
  std::optional<TrustChain> chain;
  if (const std::string trust = word(request, "trust"); !trust.empty()) {
    CALSEAL_ASSIGN(chain, chain_of(trust, words(request, "successions")));
  }
  std::optional<Sheet> sheet;
  if (const std::string file = word(request, "sheet"); !file.empty()) {
    CALSEAL_ASSIGN(sheet, parse_sheet(content(file), chain->trust, "sheet"));
  }
  Bytes file = content(word(request, "file"));
  std::string opened_digest;
  if (begins_as_closed_parcel(file)) {
    CALSEAL_ASSIGN(file, inside(file, word(request, "parcel_key")));
    opened_digest = hex_of_sha256(file);
  }
  CALSEAL_ASSIGN(const OpenedParcel opened, open_parcel(std::move(file), "parcel"));
  const Parcel& parcel = opened.parcel;
  if (chain) {
    std::vector<KeyId> roots;
    for (const PublicKey& root : chain->roots()) roots.push_back(compute_key_id(root));
    CALSEAL_CHECK(check_parcel_root(parcel, roots, "parcel"));
  }
  Answer answer;
  if (sheet && is_of_another_sheet(parcel, sheet->digest)) answer.cautions.emplace_back("sheet-other");
  CALSEAL_CHECK(judge_for_job(parcel, request));
  std::vector<std::string> contents;
  for (std::size_t i = 0; i < parcel.entries.size(); ++i) {
    CALSEAL_ASSIGN(const Bytes bytes, opened.content(i));
    contents.push_back(hex_of_sha256(bytes));
  }
  answer.results = json_object({{"digest", json(hex_of_sha256(view_of(write_parcel_text(parcel))))},
                                {"key", json(digest_text(compute_key_id(parcel.key)))},
                                {"number", json(parcel.number)},
                                {"contents", json_strings(contents)},
                                {"opened", json(opened_digest)}});
  return answer;
}

Result<Answer> judge_sheet(JsonObject& request) {
  CALSEAL_ASSIGN(const TrustChain chain, chain_of(word(request, "trust"), {}));
  CALSEAL_ASSIGN(const Sheet sheet, parse_sheet(content(word(request, "file")), chain.trust, "sheet"));
  return Answer{{}, json_object({{"digest", json(digest_text(sheet.digest))}})};
}

Result<Answer> judge_customer(JsonObject& request) {
  CALSEAL_ASSIGN(const CustomerFile customer,
                 parse_customer_file(content(word(request, "file")), "customer"));
  CALSEAL_ASSIGN(const CustomerKey key, CustomerKey::from_seed(customer.seed.bytes));
  return Answer{{},
                json_object({{"key", json(digest_text(compute_key_id(key.public_key())))},
                             {"number", json(customer.number)}})};
}

// "engine.flash=4096" for each memory whose size the sheet says.
Sheet sheet_of_sizes(const std::vector<std::string>& sizes) {
  std::map<std::string, SheetRead> reads;
  for (const std::string& size : sizes) {
    const std::size_t dot = size.find('.'), equals = size.rfind('=');
    SheetRead& read = reads[size.substr(0, dot)];
    read.controller = size.substr(0, dot);
    read.memories.push_back({size.substr(dot + 1, equals - dot - 1), std::stoull(size.substr(equals + 1))});
  }
  Sheet sheet;
  for (auto& [name, read] : reads) sheet.asked.reads.push_back(std::move(read));
  return sheet;
}

Result<Answer> look(JsonObject& request) {
  std::vector<ParcelRead> reads;
  std::vector<Bytes> contents;
  for (const JsonNode& node : request.items("reads", 100000)) {
    JsonObject read(node);
    reads.push_back({read_entry_name(reads.size()), read.text("controller"), read.text("memory"),
                     read.integer("series", 1, 16), ""});
    contents.push_back(content(word(read, "file")));
  }
  const Sheet sheet = sheet_of_sizes(words(request, "sizes"));
  std::vector<std::string> found;
  for (const ParcelFinding& one : look_at_reads(reads, {contents.begin(), contents.end()}, &sheet))
    found.push_back(one.entry + " " + one.code);
  return Answer{{}, json_object({{"findings", json_strings(found)}})};
}

JsonValue answer(const std::string& line) {
  const Result<JsonTree> tree = JsonTree::parse(line, "request");
  if (!tree) give_up("a request that is no JSON");
  JsonDocument document(line, "request");
  JsonObject request(JsonNode(document, *tree));
  const std::string id = request.text("id"), kind = request.text("kind");
  const std::map<std::string, Result<Answer> (*)(JsonObject&)> judges{
      {"parcel", judge_parcel}, {"sheet", judge_sheet}, {"customer", judge_customer}, {"looks", look}};
  const Result<Answer> judged = judges.at(kind)(request);
  if (!document.ok()) give_up(document.error().place + ": " + document.error().found);
  return json_object(
      {{"id", json(id)},
       {"outcome", json(judged ? "accepted" : "refused")},
       {"reason", json(judged ? "" : std::string(code(judged.error().reason)))},
       {"cautions", json_strings(judged ? judged->cautions : std::vector<std::string>())},
       {"results", judged ? judged->results : no_results()},
       {"why", json(judged ? "" : printable(judged.error().place + ": " + judged.error().found))}});
}

}  // namespace
}  // namespace calseal

int main() {
  for (std::string line; std::getline(std::cin, line);)
    std::cout << calseal::canonical_json(calseal::answer(line)) << std::endl;
}
