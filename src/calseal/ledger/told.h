// What a person tells the ledger: words that an entry's kind needs, and whose key a receipt was signed with.
#pragma once

#include <string>

#include "calseal/base/result.h"
#include "calseal/check/receipt.h"
#include "calseal/ledger/detail.h"

namespace calseal {

// kUsage unless an entry of this kind can have these words.
Status judge_words(EntryKind kind, const std::string& words);

// The key is the customer's only because he read its fingerprint aloud; nothing is judged when he was not
// asked. kUsage, kReceiptInvalid.
Status check_fingerprint(const Receipt& receipt, const std::string& told, const std::string& name);

}  // namespace calseal
