#include "calseal/parcel/customer_file.h"

#include <algorithm>

#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/receipt.h"
#include "calseal/check/state.h"
#include "calseal/digest/sha256.h"
#include "calseal/parcel/parcel.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::size_t kDigestLine = 65;  // 64 digits and LF

void salt_fields(Fields& field, CustomerSalt& salt) {
  field("job", salt.job, kName);
  field("salt", salt.salt, kHex32);
}

tl::unexpected<Error> too_large(const std::string& name, std::uint64_t size, std::string next) {
  return fail({Reason::kFileTooLarge, name, "", grouped(size) + " bytes",
               "at most " + grouped(kCustomerFileLimit) + " bytes", std::move(next)});
}

}  // namespace

void customer_fields(Fields& field, CustomerFile& customer) {
  field.kind_of_file("customer/1");
  field("seed", customer.seed, kHex32);
  field("number", customer.number, Integer{0, kParcelNumberLimit});
  field("salts", customer.salts, List{Record{salt_fields}, kCustomerSaltLimit});
  field("state", customer.state, Text{kStateSizeLimit});
  field("receipts", customer.receipts, List{Text{kReceiptSizeLimit}, kCustomerReceiptLimit});
}

Result<CustomerFile> new_customer_file() {
  CALSEAL_ASSIGN(const CustomerKey key, CustomerKey::generate());
  CustomerFile customer;
  std::copy(key.seed().begin(), key.seed().end(), customer.seed.bytes.begin());
  return customer;
}

Result<std::string> write_customer_file(const CustomerFile& customer) {
  std::string text = canonical_text(customer, customer_fields);
  const Sha256 digest = compute_sha256(view_of(text));
  text += "\n" + digest_text(digest) + "\n";
  if (text.size() > kCustomerFileLimit)
    return too_large("", text.size(), "begin a new customer file, and keep this one");
  return text;
}

Result<CustomerFile> parse_customer_file(ByteView file, const std::string& name) {
  if (file.size() > kCustomerFileLimit)
    return too_large(name, file.size(), "check that this is your customer file");
  const auto invalid = [&](std::string place, std::string found, std::string expected) {
    return fail({Reason::kCustomerFileInvalid, name, std::move(place), std::move(found), std::move(expected),
                 "take a copy of it, or begin a new one and read its fingerprint aloud to the shop"});
  };
  const std::string_view text = text_of(file);
  if (!text.starts_with(kCustomerLiteral))
    return invalid("byte 0", "\"" + printable(text.substr(0, kCustomerLiteral.size()), 60) + "\"",
                   std::string(kCustomerLiteral));
  const std::size_t end = text.find('\n');
  if (end == std::string_view::npos || text.size() - end - 1 != kDigestLine || text.back() != '\n')
    return invalid("line 2", "no such line, or more", "64 hexadecimal digits and a line end");
  const std::string digest = digest_text(compute_sha256(file.first(end)));
  if (text.substr(end + 1, digest.size()) != digest)
    return invalid("line 2", "the SHA-256 of another text", digest);
  CALSEAL_ASSIGN(CustomerFile customer,
                 parse_canonical_text(file.first(end), Reason::kCustomerFileInvalid, customer_fields, name));
  for (std::size_t i = 1; i < customer.salts.size(); ++i) {
    if (!(customer.salts[i - 1].job < customer.salts[i].job))
      return invalid("/salts/" + std::to_string(i), customer.salts[i].job, "jobs ascending, each once");
  }
  return customer;
}

}  // namespace calseal
