// The last part of a file's name as a parcel may carry it: nothing about the customer's folders, and nothing
// that a reader cannot see.
#pragma once

#include <string>
#include <string_view>

namespace calseal {

// What follows the last / or \, with control, format and direction characters (Unicode categories Cc and Cf)
// and bytes that are not UTF-8 replaced by "_" each, cut to 200 bytes at a character.
std::string plain_file_name(std::string_view path);

}  // namespace calseal
