#include "calseal/receipt/receipt_key.h"

#include <sys/stat.h>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

void seed_fields(Fields& field, Bytes& seed) {
  field.kind_of_file("receipt-key/1");
  field("seed", seed, Hex{kSeedSize});
}

Result<Bytes> parse_key(ByteView file, const std::string& name) {
  CALSEAL_CHECK(check_kind(file, kReceiptKeyLiteral, name));
  const ByteView line = file.back() == '\n' ? file.first(file.size() - 1) : file;
  return parse_canonical_text(line, Reason::kKeyFileInvalid, seed_fields, name);
}

}  // namespace

ReceiptKey::ReceiptKey(CustomerKey key, bool is_new) : key_(std::move(key)), is_new_(is_new) {}

Result<ReceiptKey> ReceiptKey::obtain(const std::string& path) {
  struct stat status {};
  const bool is_new = ::stat(path.c_str(), &status) != 0;
  if (is_new) {
    CALSEAL_ASSIGN(CustomerKey key, CustomerKey::generate());
    const Bytes seed(key.seed().begin(), key.seed().end());
    CALSEAL_CHECK(write_file(path, view_of(canonical_text(seed, seed_fields) + "\n"), FileMode::kPrivate,
                             Existing::kRefuse));
    return ReceiptKey(std::move(key), true);
  }
  if ((status.st_mode & 0077) != 0) {
    return fail({Reason::kKeyFilePermissions, printable(path), "", "a key that other users can read",
                 "permissions for its owner alone", "chmod 600, and think about a new key"});
  }
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, 4096));
  CALSEAL_ASSIGN(Bytes seed, parse_key(bytes, printable(path)));
  Result<CustomerKey> key = CustomerKey::from_seed(seed);
  cleanse(seed);
  if (!key) return fail(key.error());
  return ReceiptKey(*std::move(key), false);
}

Result<std::string> sign_receipt(const CustomerKey& key, Receipt receipt) {
  receipt.key = key.public_key();
  const std::string text = write_receipt_text(receipt);
  CALSEAL_ASSIGN(const PrefixSignature signature, key.sign(view_of(text)));
  std::string file = write_statement(text, {signature});
  CALSEAL_CHECK(parse_receipt(view_of(file), "the receipt"));
  return file;
}

Receipt receipt_of(const Verdict& verdict, const std::string& time) {
  Receipt receipt;
  receipt.revision = verdict.manifest_digest;
  receipt.job = verdict.manifest->job;
  receipt.controller = verdict.manifest->controller().name;
  receipt.outcome = verdict.outcome;
  if (verdict.reason) receipt.reason = std::string(code(verdict.reason->reason));
  receipt.vehicle = verdict.vehicle;
  if (verdict.ledger_head) {
    receipt.head_size = verdict.ledger_head->tree.size;
    receipt.head_root_hash = verdict.ledger_head->tree.root_hash;
  }
  receipt.claimed_time = time;
  return receipt;
}

}  // namespace calseal
