// Manual pages, section 1, in the man macros of troff.
#pragma once

#include <string>

#include "calseal/cli/console/command_tree.h"

namespace calseal {

// "calseal-shop-new.1"
std::string man_page_name(const CommandPage& page);

// The page of one command; those below it are listed under SEE ALSO. `version` is "calseal 1.2.3". No date
// stands in it, so that the same program gives the same bytes.
std::string man_page(const CommandPage& page, const std::string& version);

}  // namespace calseal
