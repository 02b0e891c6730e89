// Withdrawing revisions: notices, and the list that follows the one before.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/trust_file.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {

// A notice against the revision of a bundle, its kind, action and text left to the caller. Only the manifest
// is read; no signature counts, since a bundle that strangers made may be withdrawn too. Reasons of reading,
// and kUsage for a revision 0: the way back is never withdrawn, only superseded by another revision 0.
Result<WithdrawalNotice> notice_against(ByteView bundle, const std::string& name);

// The list that follows `previous`: its number is one higher, its notices are those of `previous` with `more`
// added or put in their place. A notice that would send people to a revision that is now withdrawn sends them
// the way back instead. kUsage when the times do not follow one another or the list is full.
Result<WithdrawalList> next_withdrawals(const std::optional<WithdrawalList>& previous,
                                        const std::vector<WithdrawalNotice>& more, const KeyId& root,
                                        const std::string& claimed_time, const std::string& fresh_until);

// The text of a list, signed and read back through parse_withdrawals() before it is returned.
Result<std::string> seal_withdrawals(const WithdrawalList& list, const SigningKeys& keys,
                                     const TrustFile& trust);

}  // namespace calseal
