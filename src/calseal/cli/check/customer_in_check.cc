#include "calseal/cli/check/customer_in_check.h"

#include <algorithm>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/prefix.h"
#include "calseal/receipt/receipt_key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

// The job that a bundle says it is of. Nobody has judged it yet: it only picks a salt, which is judged.
std::string job_named_by(ByteView bundle) {
  const auto prefix = read_prefix(bundle, "");
  if (!prefix) return "";
  const auto manifest = parse_manifest(prefix->manifest, "");
  return manifest ? manifest->job : "";
}

}  // namespace

Result<CustomerInCheck> CustomerInCheck::load(const std::string& path) {
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, kCustomerFileLimit));
  CALSEAL_ASSIGN(CustomerFile file, parse_customer_file(bytes, printable(path)));
  return CustomerInCheck(printable(path), std::move(file));
}

void CustomerInCheck::fill(CheckRequest& request) {
  if (!request.state) {
    request.state = NamedBytes{name_ + ": state", {file_.state.begin(), file_.state.end()}};
    gave_state_ = true;
  }
  if (request.evidence.salt) return;
  const auto salt = std::ranges::find(file_.salts, job_named_by(request.bundle), &CustomerSalt::job);
  if (salt != file_.salts.end())
    request.evidence.salt = Bytes(salt->salt.bytes.begin(), salt->salt.bytes.end());
}

bool CustomerInCheck::keep_salt(const Manifest& manifest, const Bytes& salt) {
  CustomerSalt kept{manifest.job, {}};
  if (salt.size() != kept.salt.bytes.size() || compute_sha256(salt) != manifest.salt_digest) return false;
  std::ranges::copy(salt, kept.salt.bytes.begin());
  const auto at = std::ranges::lower_bound(file_.salts, kept.job, {}, &CustomerSalt::job);
  if (at != file_.salts.end() && at->job == kept.job) {
    const bool is_new = *at != kept;
    *at = kept;
    return is_new;
  }
  file_.salts.insert(at, kept);
  return true;
}

Status CustomerInCheck::add_receipt(const Verdict& verdict, UtcTime now, After& after) {
  CALSEAL_ASSIGN(const CustomerKey key, CustomerKey::from_seed(file_.seed.bytes));
  CALSEAL_ASSIGN(after.receipt, sign_receipt(key, receipt_of(verdict, time_text(now))));
  after.fingerprint = spoken_code(Spoken::kKey, compute_key_id(key.public_key()));
  if (file_.receipts.size() == kCustomerReceiptLimit) file_.receipts.erase(file_.receipts.begin());
  file_.receipts.push_back(after.receipt);
  return {};
}

Result<CustomerInCheck::After> CustomerInCheck::after(const Verdict& verdict,
                                                      const std::optional<Bytes>& salt, bool written,
                                                      UtcTime now) {
  After after;
  const std::string& state = written ? verdict.state_after_write : verdict.state_after_look;
  if (gave_state_ && !state.empty()) file_.state = state;
  if (verdict.manifest) {
    if (salt) after.salt_kept = keep_salt(*verdict.manifest, *salt);
    if (file_.salts.size() > kCustomerSaltLimit) {
      std::erase_if(file_.salts, [&](const CustomerSalt& one) { return one.job == verdict.manifest->job; });
      after.salt_kept = false;
      after.salt_left_out = true;
    }
    CALSEAL_CHECK(add_receipt(verdict, now, after));
  }
  CALSEAL_ASSIGN(after.file, write_customer_file(file_));
  return after;
}

}  // namespace calseal
