// `calseal withdraw` from its options to the signed list.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/cli/shop/withdraw_options.h"
#include "calseal/query/find.h"
#include "calseal/sign/withdraw.h"

namespace calseal {

struct Withdrawn {
  WithdrawalList list;
  std::string output, put_aside;  // where it was written; the list before, where that was put aside
  std::size_t added = 0;
  std::size_t ways_back = 0;       // revisions 0 among the answers to --where, which stay open
  std::size_t kept = 0;            // answers that the list before names already, with its words
  std::vector<UnreadFile> unread;  // about which --where can say nothing
};

Result<Withdrawn> withdraw(const WithdrawOptions& options);

}  // namespace calseal
