#include "calseal/cli/check/parcel_request.h"

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/reads/read_arguments.h"

namespace calseal {
namespace {

tl::unexpected<Error> usage(std::string place, std::string found, std::string expected, std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

// An empty file goes in too: that it is empty is what the shop has to know.
Result<Bytes> load_any(const std::string& path) {
  Result<Bytes> bytes = read_file(path, kEntrySizeLimit);
  if (!bytes && bytes.error().reason == Reason::kFileEmpty) return Bytes();
  return bytes;
}

Status load_reads(const ParcelOptions& options, ParcelRequest& request) {
  for (const std::string& argument : options.reads) {
    NamedRead named = parse_named_read(argument);
    GivenRead read{std::move(named.controller), std::move(named.file.memory), named.file.name, {}};
    CALSEAL_ASSIGN(read.bytes, load_any(read.path));
    request.reads.push_back(std::move(read));
  }
  return {};
}

// "DIGEST=FILE" where the revision is known that was driven.
Status load_logs(const ParcelOptions& options, ParcelRequest& request) {
  for (const std::string& argument : options.logs) {
    GivenLog log;
    log.path = argument;
    const std::size_t equals = argument.find('=');
    if (const auto digest = parse_digest(argument.substr(0, equals)); digest && equals != std::string::npos) {
      log.revision = digest;
      log.path = argument.substr(equals + 1);
    }
    CALSEAL_ASSIGN(log.bytes, load_any(log.path));
    request.logs.push_back(std::move(log));
  }
  return {};
}

Status load_trust_and_sheet(const ParcelOptions& options, LoadedParcel& loaded) {
  if (options.trust.empty()) {
    if (options.sheet.empty()) return {};
    return usage("--sheet", "no trust file", "--trust beside it: who signed the sheet is judged by that",
                 "give the shop's trust file");
  }
  CALSEAL_ASSIGN(const Bytes trust, read_file(options.trust, kTrustFileSizeLimit));
  CALSEAL_ASSIGN(loaded.trust, parse_trust_file(trust, options.root, printable(options.trust)));
  loaded.request.root = compute_key_id(loaded.trust->root);
  if (options.sheet.empty()) return {};
  CALSEAL_ASSIGN(const Bytes sheet, read_file(options.sheet, kSheetSizeLimit));
  CALSEAL_ASSIGN(loaded.sheet, parse_sheet(sheet, *loaded.trust, printable(options.sheet)));
  loaded.request.sheet = &*loaded.sheet;
  return {};
}

Status load_order(const ParcelOptions& options, const Console& console, LoadedParcel& loaded) {
  if (!loaded.sheet) {
    if (options.order.empty() && options.answers.empty() && !options.accept_cautions) return {};
    return usage("--order", "no sheet", "--sheet with what the shop offers",
                 "ask the shop for its sheet, or say it in your --words");
  }
  std::vector<ParcelAnswer> answers;
  for (const std::string& argument : options.answers) {
    const std::size_t equals = argument.find('=');
    if (equals == std::string::npos)
      return usage("--answer", "\"" + printable(argument, 80) + "\"", "QUESTION=ANSWER",
                   "calseal-check parcel --help has an example");
    answers.push_back({argument.substr(0, equals), argument.substr(equals + 1)});
  }
  Order& order = loaded.request.order;
  CALSEAL_ASSIGN(order, put_in_order(*loaded.sheet, options.order, answers));
  const std::vector<std::string> cautions = cautions_of(*loaded.sheet, order.options);
  if (options.accept_cautions) {
    order.accepted = cautions;
  } else if (!console.json && (!options.reads.empty() || !order.options.empty())) {
    for (const std::string& caution : cautions) console.note("caution: " + printable(caution) + "\n");
  }
  // Before any large file is read.
  Status judged = judge_order(*loaded.sheet, order, !options.reads.empty());
  if (!judged && judged.error().place == "cautions")
    judged.error().next = "read them, then run the command again with --accept-cautions";
  return judged;
}

Status load_customer(const ParcelOptions& options, LoadedParcel& loaded) {
  if (options.customer.empty() == options.new_customer.empty())
    return usage("--customer", options.customer.empty() ? "no customer file" : "two customer files",
                 "--customer with your file, or --new-customer to begin one",
                 "the first time give --new-customer; keep that file and give it as --customer from then on");
  if (options.customer.empty()) {
    CALSEAL_ASSIGN(loaded.customer, new_customer_file());
    return {};
  }
  CALSEAL_ASSIGN(const Bytes customer, read_file(options.customer, kCustomerFileLimit));
  CALSEAL_ASSIGN(loaded.customer, parse_customer_file(customer, printable(options.customer)));
  return {};
}

}  // namespace

Result<std::unique_ptr<LoadedParcel>> load_parcel_request(const ParcelOptions& options,
                                                          const std::string& tool, const Console& console) {
  auto loaded = std::make_unique<LoadedParcel>();
  ParcelRequest& request = loaded->request;
  request.claimed_time = options.time.empty() ? time_text(current_time()) : options.time;
  if (!parse_time(request.claimed_time))
    return usage("--claimed-time", "\"" + printable(options.time, 60) + "\"",
                 "a time like 2026-01-31T12:00:00Z", "leave it out for now");
  request.job = options.job;
  request.vehicle_reference = options.vehicle;
  request.words = options.words;
  request.tool = tool;
  CALSEAL_CHECK(load_customer(options, *loaded));
  CALSEAL_CHECK(load_trust_and_sheet(options, *loaded));
  CALSEAL_CHECK(load_order(options, console, *loaded));
  CALSEAL_CHECK(load_reads(options, request));
  CALSEAL_CHECK(load_logs(options, request));
  return loaded;
}

std::vector<std::string> parcel_inputs(const ParcelOptions& options) {
  std::vector<std::string> paths{options.sheet, options.trust};
  for (const std::string& argument : options.reads) paths.push_back(parse_named_read(argument).file.name);
  for (const std::string& argument : options.logs) {
    const std::size_t equals = argument.find('=');
    const bool names_digest = equals != std::string::npos && parse_digest(argument.substr(0, equals));
    paths.push_back(names_digest ? argument.substr(equals + 1) : argument);
  }
  return paths;
}

}  // namespace calseal
