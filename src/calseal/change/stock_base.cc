#include "calseal/change/stock_base.h"

#include <algorithm>
#include <string>

#include "calseal/base/text.h"
#include "calseal/change/confine.h"
#include "calseal/map/correct.h"
#include "calseal/map/identity.h"

namespace calseal {
namespace {

std::string software_number(const RegionMap& map, const Image& image) {
  for (const IdentityValue& value : read_identity(map, image)) {
    if (value.field->kind == IdentityKind::kSoftwareNumber && value.known && !value.blank) return value.text;
  }
  return {};
}

Status require_same_software(const RegionMap& map, const Image& stock, const Image& read) {
  const std::string of_stock = software_number(map, stock);
  const std::string of_read = software_number(map, read);
  if (!of_stock.empty() && of_stock == of_read) return {};
  const auto said = [](const std::string& number) {
    return number.empty() ? std::string("no software number") : "software number " + printable(number);
  };
  return fail({Reason::kIdentityMismatch, "", "software number", said(of_read) + " in the read",
               said(of_stock) + " as in the stock", "use a stock of the software that this controller runs"});
}

}  // namespace

Result<Image> base_from_stock(const RegionMap& map, const Image& stock, const Image& read) {
  CALSEAL_ASSIGN(const Plan plan, make_plan(map, stock));
  CALSEAL_CHECK(believe_map(plan, stock));
  CALSEAL_CHECK(require_same_software(map, stock, read));
  Image base = stock;
  for (std::size_t m = 0; m < base.memories.size(); ++m) {
    Memory& memory = base.memories[m];
    const Memory& own = read.memories[m];
    RangeSet vehicle = plan.bytes_of(m, SpanKind::kVolatile);
    vehicle.add(plan.bytes_of(m, SpanKind::kBinding));
    RangeSet missing = vehicle.intersect(memory.known);
    missing.remove(own.known);
    if (!missing.empty()) {
      return fail({Reason::kReadIncomplete, "", place_text(map, {m, missing.ranges().front()}),
                   "bytes of the vehicle that the read does not hold", "every such byte",
                   "read the controller again, with all its memories"});
    }
    RangeSet taken = own.known;
    taken.remove(memory.known);
    taken.add(vehicle.intersect(own.known));
    for (const Range& range : taken.ranges()) std::ranges::copy(own.view(range), memory.span(range).begin());
    memory.known = own.known;
  }
  CALSEAL_ASSIGN(const Plan laid, make_plan(map, base));
  CALSEAL_CHECK(correct(laid, base, CorrectionScope::kFloating));
  CALSEAL_CHECK(believe_map(laid, base));
  return base;
}

}  // namespace calseal
