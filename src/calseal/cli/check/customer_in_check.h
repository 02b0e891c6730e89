// What a customer file gives to a check, and takes from it. docs/parcel.md, "In checks".
#pragma once

#include <optional>
#include <string>

#include "calseal/base/result.h"
#include "calseal/check/check.h"
#include "calseal/parcel/customer_file.h"

namespace calseal {

class CustomerInCheck {
 public:
  // The file at this path; the errors of read_file() and parse_customer_file().
  static Result<CustomerInCheck> load(const std::string& path);

  // State and salt, where the request has none.
  void fill(CheckRequest& request);

  // What the check leaves, with the receipt that was appended; "" where no manifest was read. `written`: the
  // images are durable. Errors of the key and of write_customer_file().
  struct After {
    std::string file, receipt, fingerprint;
    bool salt_kept = false;      // it was not in the file before
    bool salt_left_out = false;  // there are too many
  };
  Result<After> after(const Verdict& verdict, const std::optional<Bytes>& salt, bool written, UtcTime now);

 private:
  CustomerInCheck(std::string name, CustomerFile file) : name_(std::move(name)), file_(std::move(file)) {}

  // Whether it was not there before. Nothing is kept that the manifest does not name.
  bool keep_salt(const Manifest& manifest, const Bytes& salt);
  Status add_receipt(const Verdict& verdict, UtcTime now, After& after);

  std::string name_;  // for messages
  CustomerFile file_;
  bool gave_state_ = false;
};

}  // namespace calseal
