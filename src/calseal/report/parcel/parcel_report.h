// A parcel in words, for the customer who makes it and for the shop that gets it, and as JSON.
#pragma once

#include <cstddef>
#include <string>

#include "calseal/base/json.h"
#include "calseal/parcel/parcel.h"
#include "calseal/report/verdict/verdict_report.h"
#include "calseal/trust/sheet.h"

namespace calseal {

inline constexpr std::size_t kParcelColumn = 14;  // where values start

// "shift light, towing": titles where a sheet is given, and what it does not know by name.
std::string order_text(const Parcel& parcel, const Sheet* sheet);

// What is in it, line by line. `sheet`: nullptr for none.
std::string parcel_text(const Parcel& parcel, const Sheet* sheet, const Emphasise& emphasise);
// Members of an object of ours: docs/json-output.md, "Shared objects".
void add_parcel(JsonValue& value, const Parcel& parcel);

// A sheet in words, and as JSON.
std::string sheet_text(const Sheet& sheet);
void add_sheet(JsonValue& value, const Sheet& sheet);

}  // namespace calseal
