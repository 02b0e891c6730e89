#include "calseal/parcel/make_parcel.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/pack.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/parcel/consistency.h"
#include "calseal/parcel/file_name.h"
#include "calseal/parcel/look.h"

namespace calseal {
namespace {

tl::unexpected<Error> parcel_usage(std::string place, std::string found, std::string expected,
                                   std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

// Texts as the format holds them; everything else comes from files or is made here.
Status check_texts(const ParcelRequest& request) {
  if (!request.job.empty() && !is_name(request.job))
    return parcel_usage("job", "\"" + printable(request.job, 80) + "\"", "a name: [a-z0-9][a-z0-9_-]{0,63}",
                        "write it as it stands in the bundle");
  if (!is_line(request.vehicle_reference) || !is_utf8(request.vehicle_reference))
    return parcel_usage("vehicle reference", "\"" + printable(request.vehicle_reference, 80) + "\"",
                        "a line of at most 200 bytes", "choose a shorter word");
  if (request.words.size() > kTextLimit || !is_utf8(request.words))
    return parcel_usage("words", grouped(request.words.size()) + " bytes", "at most 65,536 bytes of UTF-8",
                        "write less, or send a text file apart");
  if (request.reads.size() > kParcelReadLimit || request.logs.size() > kParcelLogLimit)
    return parcel_usage(
        "files",
        std::to_string(request.reads.size()) + " reads, " + std::to_string(request.logs.size()) + " logs",
        "at most 64 of each", "make two parcels");
  const Order& order = request.order;
  if (request.sheet != nullptr) return judge_order(*request.sheet, order, !request.reads.empty());
  if (order.options.empty() && order.answers.empty() && order.accepted.empty()) return {};
  return parcel_usage("order", "an order or an answer without a sheet", "the shop's sheet",
                      "give the sheet, or say it in your words");
}

void add_reads(const ParcelRequest& request, Parcel& parcel) {
  for (const GivenRead& given : request.reads) {
    ParcelRead read;
    read.entry = read_entry_name(parcel.reads.size());
    read.controller = given.controller;
    read.memory = given.memory;
    read.file_name = plain_file_name(given.path);
    for (const ParcelRead& before : parcel.reads) {
      const bool is_same = before.controller == read.controller && before.memory == read.memory;
      if (!read.memory.empty() && is_same) ++read.series;
    }
    parcel.reads.push_back(std::move(read));
  }
}

void add_logs(const ParcelRequest& request, Parcel& parcel) {
  for (const GivenLog& given : request.logs) {
    parcel.logs.push_back({log_entry_name(parcel.logs.size()), given.revision, plain_file_name(given.path)});
  }
}

// Packs every file; `stored` are the bytes for the entries.
Status pack_files(const ParcelRequest& request, Parcel& parcel, std::vector<Bytes>& stored) {
  std::uint64_t total = 0;
  for (const GivenRead& read : request.reads) total += read.bytes.size();
  for (const GivenLog& log : request.logs) total += log.bytes.size();
  if (total > kContentSizeLimit)
    return fail({Reason::kFileTooLarge, "", "all files together", grouped(total) + " bytes",
                 "at most " + grouped(kContentSizeLimit) + " bytes", "make two parcels"});
  const auto pack = [&](std::string name, ByteView bytes) -> Status {
    CALSEAL_ASSIGN(PackedEntry packed, pack_entry(std::move(name), bytes, Packing::kSmallest));
    parcel.entries.push_back(std::move(packed.entry));
    stored.push_back(std::move(packed.stored));
    return {};
  };
  for (std::size_t i = 0; i < request.reads.size(); ++i)
    CALSEAL_CHECK(pack(parcel.reads[i].entry, request.reads[i].bytes));
  for (std::size_t i = 0; i < request.logs.size(); ++i)
    CALSEAL_CHECK(pack(parcel.logs[i].entry, request.logs[i].bytes));
  return {};
}

}  // namespace

Result<MadeParcel> make_parcel(const ParcelRequest& request, const CustomerFile& customer) {
  CALSEAL_CHECK(check_texts(request));
  CALSEAL_ASSIGN(const CustomerKey key, CustomerKey::from_seed(customer.seed.bytes));
  MadeParcel made;
  made.customer = customer;
  if (customer.number >= kParcelNumberLimit)
    return parcel_usage("customer file", "the highest number already", "a number left", "begin a new one");
  Parcel& parcel = made.parcel;
  parcel.key = key.public_key();
  parcel.number = ++made.customer.number;
  parcel.claimed_time = request.claimed_time;
  parcel.root = request.root;
  if (request.sheet != nullptr) parcel.sheet = request.sheet->digest;
  parcel.job = request.job;
  parcel.vehicle_reference = request.vehicle_reference;
  parcel.words = request.words;
  parcel.order = request.order.options;
  parcel.answers = request.order.answers;
  parcel.accepted = request.order.accepted;
  parcel.tool = request.tool;
  add_reads(request, parcel);
  add_logs(request, parcel);
  std::vector<ByteView> contents;
  for (const GivenRead& read : request.reads) contents.emplace_back(read.bytes);
  parcel.findings = look_at_reads(parcel.reads, contents, request.sheet);
  std::vector<Bytes> stored;
  CALSEAL_CHECK(pack_files(request, parcel, stored));
  CALSEAL_CHECK(check_parcel_consistency(parcel, ""));
  const std::string text = write_parcel_text(parcel);
  CALSEAL_ASSIGN(const PrefixSignature signature, key.sign(view_of(text)));
  const std::vector<ByteView> views(stored.begin(), stored.end());
  CALSEAL_ASSIGN(Bytes file,
                 write_framed(kParcelPrefix, {view_of(text), {signature}}, parcel.entries, views));
  CALSEAL_ASSIGN(OpenedParcel opened, open_parcel(std::move(file), "the parcel"));
  made.file = std::move(opened.file);
  return made;
}

}  // namespace calseal
