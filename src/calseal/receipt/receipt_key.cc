#include "calseal/receipt/receipt_key.h"

#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/rand.h>
#include <sys/stat.h>

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

constexpr std::size_t kSeedSize = 32;

struct FreeKey {
  void operator()(EVP_PKEY* key) const { EVP_PKEY_free(key); }
};
struct FreeContext {
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
};
using Key = std::unique_ptr<EVP_PKEY, FreeKey>;

Key key_of(const Bytes& seed) {
  return Key(EVP_PKEY_new_raw_private_key(EVP_PKEY_ED25519, nullptr, seed.data(), seed.size()));
}

tl::unexpected<Error> no_library(const std::string& step) {
  return fail({Reason::kInternal, "", step, "libcrypto refuses", "a key that signs", "try again"});
}

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

ReceiptKey::ReceiptKey(Bytes seed, bool is_new) : seed_(std::move(seed)), is_new_(is_new) {}
ReceiptKey::ReceiptKey(ReceiptKey&& other) noexcept
    : seed_(std::move(other.seed_)), public_key_(other.public_key_), is_new_(other.is_new_) {
  other.seed_.clear();
}
ReceiptKey::~ReceiptKey() { OPENSSL_cleanse(seed_.data(), seed_.size()); }

Result<ReceiptKey> ReceiptKey::obtain(const std::string& path) {
  struct stat status {};
  const bool is_new = ::stat(path.c_str(), &status) != 0;
  Bytes seed(kSeedSize);
  if (is_new) {
    if (RAND_bytes(seed.data(), static_cast<int>(seed.size())) != 1) return no_library("random");
    CALSEAL_CHECK(write_file(path, view_of(canonical_text(seed, seed_fields) + "\n"), FileMode::kPrivate,
                             Existing::kRefuse));
  } else {
    if ((status.st_mode & 0077) != 0) {
      return fail({Reason::kKeyFilePermissions, printable(path), "", "a key that other users can read",
                   "permissions for its owner alone", "chmod 600, and think about a new key"});
    }
    CALSEAL_ASSIGN(const Bytes bytes, read_file(path, 4096));
    CALSEAL_ASSIGN(seed, parse_key(bytes, printable(path)));
  }
  ReceiptKey key(std::move(seed), is_new);
  const Key raw = key_of(key.seed_);
  std::size_t size = kPublicKeySize;
  if (!raw || EVP_PKEY_get_raw_public_key(raw.get(), key.public_key_.bytes.data(), &size) != 1 ||
      size != kPublicKeySize)
    return no_library("receipt key");
  return key;
}

Result<std::string> ReceiptKey::sign(Receipt receipt) const {
  receipt.key = public_key_;
  const std::string text = write_receipt_text(receipt);
  const Key raw = key_of(seed_);
  const std::unique_ptr<EVP_MD_CTX, FreeContext> context(EVP_MD_CTX_new());
  PrefixSignature signature;
  signature.key_id = compute_key_id(public_key_);
  std::size_t size = signature.signature.size();
  if (!raw || !context || EVP_DigestSignInit(context.get(), nullptr, nullptr, nullptr, raw.get()) != 1 ||
      EVP_DigestSign(context.get(), signature.signature.data(), &size,
                     reinterpret_cast<const unsigned char*>(text.data()), text.size()) != 1)
    return no_library("receipt");
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
