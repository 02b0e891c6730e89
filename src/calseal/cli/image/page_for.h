// The page that this run's reports are laid out for.
#pragma once

#include "calseal/cli/console/console.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// UTF-8 signs when the locale's character set is UTF-8 (LC_ALL, LC_CTYPE, LANG, in this order) and --ascii
// was not given; width of the terminal, 100 columns when stdout is none; emphasis as the console has it.
// `console` must outlive the page.
Page page_for(const Console& console);

}  // namespace calseal
