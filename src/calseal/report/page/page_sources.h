// The files of src/page, embedded when calseal is built; the script is all modules in one.
#pragma once

#include <string_view>

namespace calseal {

std::string_view page_template();
std::string_view page_style();
std::string_view page_script();

}  // namespace calseal
