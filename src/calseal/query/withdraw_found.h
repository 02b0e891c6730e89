// Notices of withdrawal against what a question to an archive has found.
#pragma once

#include <string>
#include <vector>

#include "calseal/query/find.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {

// A list that lacks what nobody could read looks like one that lacks nothing: kFileUnreadable when anything
// of the archive is unread.
Status refuse_unread(const Index& index);

struct FoundNotices {
  std::vector<WithdrawalNotice> notices;  // without kind and words
  std::size_t ways_back = 0;              // revisions 0, which stay open
  std::size_t kept = 0;                   // named already by the list before, with its words
};

// One for every revision that was found but revisions 0, and but those that `previous` names: a question must
// not soften what somebody said with care. Each is about what the bundle itself says, not the index.
Result<FoundNotices> notices_against_found(const std::string& archive,
                                           const std::vector<FoundRevision>& found,
                                           const WithdrawalList* previous);

}  // namespace calseal
