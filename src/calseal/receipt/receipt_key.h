// The key by which the customer's side signs receipts: made on first use, kept where the customer keeps it.
// It signs receipts and nothing else, and nobody but its holder has to believe it.
#pragma once

#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/check/receipt.h"
#include "calseal/check/verdict.h"
#include "calseal/receipt/customer_key.h"
#include "calseal/trust/key.h"
#include "calseal/trust/tree_head.h"

namespace calseal {

inline constexpr std::string_view kReceiptKeyLiteral = R"({"calseal":"receipt-key/1",)";

class ReceiptKey {
 public:
  // The key in this file; a file that is not there is made, of mode 0600. Without a passphrase: it protects
  // no vehicle. kKeyFilePermissions, kKeyFileInvalid, kWriteFailed.
  static Result<ReceiptKey> obtain(const std::string& path);

  const PublicKey& public_key() const { return key_.public_key(); }
  bool is_new() const { return is_new_; }

  const CustomerKey& key() const { return key_; }

 private:
  ReceiptKey(CustomerKey key, bool is_new);

  CustomerKey key_;
  bool is_new_;
};

// The receipt's file, signed by this key. kInternal when libcrypto fails.
Result<std::string> sign_receipt(const CustomerKey& key, Receipt receipt);

// What a verdict gives to be signed; only of a bundle whose manifest was read.
Receipt receipt_of(const Verdict& verdict, const std::string& time);

}  // namespace calseal
