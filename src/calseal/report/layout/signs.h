// The signs of reports: one column wide, told apart without colour, always beside their word.
//
//   locked  editable  derived  floating  volatile  binding  unknown  no memory
//     █        ▁         =        ≈         ~         @        ·       (blank)     UTF-8
//     #        _         =        ^         ~         @        .       (blank)     ASCII
//
//   + holds   ! fails   ? not provable   and above a strip   ▾ or v   changed
#pragma once

#include <string>
#include <string_view>

#include "calseal/map/kinds.h"
#include "calseal/map/region_map.h"
#include "calseal/report/layout/page.h"

namespace calseal {

std::string_view kind_sign(const Page& page, SpanKind kind);
std::string_view policy_sign(const Page& page, Policy policy);
std::string_view unknown_sign(const Page& page);
std::string_view change_sign(const Page& page);  // above a strip: something changed here
std::string_view state_sign(CheckState state);
Mark state_mark(CheckState state);

// "+ holds", "! fails", "? not provable"
std::string state_text(CheckState state);

}  // namespace calseal
