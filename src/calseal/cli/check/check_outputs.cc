#include "calseal/cli/check/check_outputs.h"

#include <algorithm>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/receipt/receipt_key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

Error usage(std::string found, std::string expected, std::string next) {
  return {Reason::kUsage, "", "--image", std::move(found), std::move(expected), std::move(next)};
}

// Which output takes which rebuilt file. Every file must have one: they are committed all or none.
Result<std::vector<PendingFile>> assign_outputs(const CheckOptions& options, const Verdict& verdict) {
  std::vector<PendingFile> pending;
  std::vector<bool> taken(verdict.files.size(), false);
  for (const std::string& argument : options.images) {
    const ReadFile named = parse_read_argument(argument);
    std::size_t at = verdict.files.size();
    for (std::size_t i = 0; i < verdict.files.size(); ++i) {
      const bool fits =
          named.memory.empty() ? verdict.files.size() == 1 : verdict.files[i].memory == named.memory;
      if (fits && !taken[i]) at = i;
    }
    if (at == verdict.files.size()) {
      return fail(usage("\"" + printable(argument) + "\"", "one output for each read, named as the reads are",
                        "write --image MEMORY=FILE for each --read MEMORY=FILE"));
    }
    taken[at] = true;
    pending.push_back({named.name, verdict.files[at].bytes, FileMode::kVehicle});
  }
  if (!options.images.empty() && !std::ranges::all_of(taken, [](bool t) { return t; })) {
    return fail(usage(
        std::to_string(options.images.size()) + " outputs for " + std::to_string(taken.size()) + " files",
        "an output for every file of the read", "write --image MEMORY=FILE for each --read MEMORY=FILE"));
  }
  return pending;
}

// The code to read aloud, where one is asked for, behind what was said so far. `has_receipt`: a receipt was
// written.
SaidBack with_code(const CheckOptions& options, const Verdict& verdict, const std::optional<Bytes>& salt,
                   std::string text, bool has_receipt, const std::string& fingerprint) {
  std::string spoken;
  if (options.receipt_code && verdict.manifest && salt) {
    spoken = receipt_code(verdict.manifest_digest, verdict.outcome, *salt);
    if (!spoken.empty()) text += "code: " + spoken + ": read it aloud to the shop\n";
  }
  return {text.empty() ? text : "\n" + text,
          json_object({{"file", json(printable(has_receipt ? options.receipt : "", 16384))},
                       {"key_fingerprint", json(fingerprint)},
                       {"code", json(spoken)}})};
}

}  // namespace

Status write_outputs(const CheckOptions& options, const Verdict& verdict) {
  const bool accepted = verdict.outcome == Outcome::kAccepted;
  if (accepted) {
    CALSEAL_ASSIGN(const std::vector<PendingFile> pending, assign_outputs(options, verdict));
    CALSEAL_CHECK(write_files(pending));
  }
  const bool written = accepted && !options.images.empty();
  const std::string& state = written ? verdict.state_after_write : verdict.state_after_look;
  if (state.empty() || options.state.empty()) return {};
  Status status = write_file(options.state, view_of(state));
  if (!status && written) {
    status.error().next =
        "the image was written and is good; repair the place of the state, then check again";
  }
  return status;
}

Result<SaidBack> say_back(const CheckOptions& options, const Verdict& verdict,
                          const std::optional<Bytes>& salt, UtcTime now) {
  std::string text, fingerprint;
  const bool known = verdict.manifest.has_value();
  if (!options.receipt.empty() && known) {
    CALSEAL_ASSIGN(const ReceiptKey key, ReceiptKey::obtain(options.receipt_key));
    CALSEAL_ASSIGN(const std::string file, sign_receipt(key.key(), receipt_of(verdict, time_text(now))));
    CALSEAL_CHECK(write_file(options.receipt, view_of(file)));
    fingerprint = spoken_code(Spoken::kKey, compute_key_id(key.public_key()));
    text += "receipt: " + printable(options.receipt) + ": send it back to the shop\n";
    text += std::string(key.is_new() ? "its new key" : "its key") + ": " + fingerprint +
            (key.is_new()
                 ? "\n  read this code aloud to the shop once, and keep " + printable(options.receipt_key)
                 : "") +
            "\n";
  }
  return with_code(options, verdict, salt, std::move(text), known, fingerprint);
}

Result<SaidBack> write_customer(const CheckOptions& options, CustomerInCheck& customer,
                                const Verdict& verdict, const std::optional<Bytes>& salt, UtcTime now) {
  const bool written = verdict.outcome == Outcome::kAccepted && !options.images.empty();
  CALSEAL_ASSIGN(const CustomerInCheck::After after, customer.after(verdict, salt, written, now));
  std::vector<PendingFile> files{{options.customer, view_of(after.file), FileMode::kPrivate}};
  const bool receipt = !options.receipt.empty() && !after.receipt.empty();
  if (receipt) files.push_back({options.receipt, view_of(after.receipt)});
  if (Status status = write_files(files); !status) {
    Error error = status.error();
    if (written) error.next = "the image was written and is good; repair the place of the customer file";
    return fail(std::move(error));
  }
  std::string text;
  if (receipt) text += "receipt: " + printable(options.receipt) + ": send it back to the shop\n";
  if (after.salt_kept)
    text += "salt: kept in " + printable(options.customer) + "; it need not be given again\n";
  if (after.salt_left_out)
    text += "salt: NOT kept: the customer file has " + grouped(kCustomerSaltLimit) + " jobs already\n";
  return with_code(options, verdict, salt, std::move(text), receipt, after.fingerprint);
}

Status judge_check_options(const CheckOptions& options) {
  if (!options.customer.empty() && !options.receipt_key.empty()) {
    return fail({Reason::kUsage, "", "--receipt-key", "a key beside --customer",
                 "one of the two: the customer file has a key", "leave --receipt-key out"});
  }
  if (options.customer.empty() && options.receipt.empty() != options.receipt_key.empty()) {
    return fail({Reason::kUsage, "", "--receipt", "one of two options",
                 "--receipt and --receipt-key together",
                 "name the receipt to write, and the file of your key; a new one is made"});
  }
  if (options.receipt_code && options.salt.empty() && options.customer.empty()) {
    return fail({Reason::kUsage, "", "--receipt-code", "no salt", "--salt beside it", "give the job's salt"});
  }
  if (options.seal_only && !options.images.empty()) {
    return fail(
        usage("--image with --seal-only", "one of the two", "leave --seal-only out to rebuild an image"));
  }
  return {};
}

}  // namespace calseal
