// The customer file: what a customer's side keeps between two parcels, for the page and for calseal-check
// alike. docs/parcel.md, "The customer file".
//
// It holds his private key without a passphrase, as a phone's page has nowhere to keep one either. Lost, it
// does no harm: a new one has a new key, and the shop asks by voice.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/receipt/customer_key.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kCustomerLiteral = R"({"calseal":"customer/1",)";
inline constexpr std::uint64_t kCustomerFileLimit = std::uint64_t{16} << 20;  // bytes
inline constexpr std::size_t kCustomerSaltLimit = 256;
inline constexpr std::size_t kCustomerReceiptLimit = 1000;

struct Secret32 {
  std::array<std::uint8_t, 32> bytes{};
  friend auto operator<=>(const Secret32&, const Secret32&) = default;
};

struct CustomerSalt {
  std::string job;  // name
  Secret32 salt;
  friend bool operator==(const CustomerSalt&, const CustomerSalt&) = default;
};

struct CustomerFile {
  Secret32 seed;                      // of the key; see CustomerKey::from_seed()
  std::uint64_t number = 0;           // of the last parcel made with it
  std::vector<CustomerSalt> salts;    // ascending by job
  std::string state;                  // the checker's state file, both lines; "" for none
  std::vector<std::string> receipts;  // as signed
  friend bool operator==(const CustomerFile&, const CustomerFile&) = default;
};

void customer_fields(Fields& field, CustomerFile& customer);

// With a new key, and nothing else in it. kInternal when the system has no random bytes.
Result<CustomerFile> new_customer_file();

// Two lines: the canonical text, and its SHA-256. kFileTooLarge when that is above kCustomerFileLimit.
Result<std::string> write_customer_file(const CustomerFile& customer);

// kFileTooLarge, and kCustomerFileInvalid for anything else than what write_customer_file() writes. State and
// receipts are not looked into here.
Result<CustomerFile> parse_customer_file(ByteView file, const std::string& name);

}  // namespace calseal
